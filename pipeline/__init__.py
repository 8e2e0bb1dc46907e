"""evenbeam: from sites' readings to evidence that can be published."""

__version__ = "0.1.0"
