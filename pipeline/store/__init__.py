"""The DuckDB file under a programme: opened and upgraded, its SQL run, its errors told as faults."""

from pipeline.store.fault_of import storage_fault, why_it_did_not_open
from pipeline.store.path_in_sql import as_named, literal
from pipeline.store.store import SETTINGS, Store, received_beside, sql_text

__all__ = [
    "SETTINGS",
    "Store",
    "as_named",
    "literal",
    "received_beside",
    "sql_text",
    "storage_fault",
    "why_it_did_not_open",
]
