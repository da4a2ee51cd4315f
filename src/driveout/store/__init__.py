"""The record: SQLite on this machine by default, PostgreSQL by URL; one transaction per action."""

from driveout.store.archive import restore, write_archive
from driveout.store.attachments import Attachments, references, strays
from driveout.store.daily import daily_copies, keep_daily_copies, keep_daily_copy
from driveout.store.engine import Moment, Store, open_store
from driveout.store.schema import missing_guards, revision_of, upgrade
from driveout.store.written import WORKED_OUT, Tx, about_car, metadata, remembered

__all__ = [
    "WORKED_OUT",
    "Attachments",
    "Moment",
    "Store",
    "Tx",
    "about_car",
    "daily_copies",
    "keep_daily_copies",
    "keep_daily_copy",
    "metadata",
    "missing_guards",
    "open_store",
    "references",
    "remembered",
    "restore",
    "revision_of",
    "strays",
    "upgrade",
    "write_archive",
]
