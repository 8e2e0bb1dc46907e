"""Protected results → a release folder: CSV, Parquet, their description, and a swap no reader sees half of."""

from pipeline.release.noise_kept import require_noise_can_be_drawn
from pipeline.release.publish import publish

__all__ = ["publish", "require_noise_can_be_drawn"]
