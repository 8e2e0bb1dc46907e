"""At the edge: what a site does before it sends, and what both ends must know to tell a direct identifier.

Needs Python alone (openpyxl for Excel files, Polars for Parquet), so that it goes to a site as one file: `make seal`.
Intake imports from here; nothing here imports from intake, the store or the settings.
"""
