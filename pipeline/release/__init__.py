"""Protected results → a release folder: CSV, Parquet, their description, and a swap no reader sees half of."""

from pipeline.release.publish import publish

__all__ = ["publish"]
