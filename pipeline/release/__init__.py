"""Protected results → a release folder: CSV, Parquet, their description, and a swap no reader sees half of."""
