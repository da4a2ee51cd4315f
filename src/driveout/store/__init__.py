"""The record: SQLite on this machine by default, PostgreSQL by URL; one transaction per action."""

from driveout.store.archive import restore, write_archive
from driveout.store.attachments import Attachments
from driveout.store.engine import Moment, Store, Tx, metadata, open_store
from driveout.store.schema import missing_guards, revision_of, upgrade

__all__ = [
    "Attachments",
    "Moment",
    "Store",
    "Tx",
    "metadata",
    "missing_guards",
    "open_store",
    "restore",
    "revision_of",
    "upgrade",
    "write_archive",
]
