"""Connections and transactions for SQLite and PostgreSQL."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa
from sqlalchemy.exc import DataError, OperationalError, SQLAlchemyError

from driveout.errors import BadEntry, Conflict, DriveoutError, StoreTrouble
from driveout.store.written import Tx, keep_what_was_made, watch

BeforeCommit = Callable[[Tx, dict[int, list[str]]], None]


class Moment(sa.types.TypeDecorator[datetime]):
    """An aware UTC moment, kept as ISO text so that both engines and the archive hold the same."""

    impl = sa.String(40)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: sa.Dialect) -> str | None:
        """Turn a moment into text; a moment without a zone is a programming error."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a stored moment needs its time zone")
        return value.astimezone(UTC).isoformat(timespec="microseconds")

    def process_result_value(self, value: Any, dialect: sa.Dialect) -> datetime | None:
        """Turn text back into an aware moment."""
        return None if value is None else datetime.fromisoformat(value)


class Store:
    """One opened record.

    Parameters
    ----------
    engine
        SQLAlchemy engine, already set up by `open_store`.
    home
        Folder for attachments and backups.
    clock
        Gives the present moment; tests hand in their own.
    """

    def __init__(self, engine: sa.Engine, home: Path, clock: Callable[[], datetime] | None = None) -> None:
        self.engine = engine
        self.home = home
        self._clock = clock or (lambda: datetime.now(UTC))
        self.before_commit: list[BeforeCommit] = []
        self.after_commit: list[Callable[[], None]] = []
        self.only_read = ""
        self.copy_trouble = ""

    def now(self) -> datetime:
        """Present moment, aware, UTC."""
        return self._clock()

    @contextmanager
    def reading(self) -> Iterator[Tx]:
        """Open a transaction that sees one consistent state and changes nothing."""
        with said_plainly(), self.engine.connect() as tx:
            if self.engine.dialect.name == "postgresql":
                tx = tx.execution_options(isolation_level="REPEATABLE READ")
            try:
                yield tx
            finally:
                tx.rollback()

    @contextmanager
    def writing(self) -> Iterator[Tx]:
        """Open a transaction that is written whole or not at all.

        Before the commit each car touched by `note_event` is handed to the ``before_commit``
        hooks in the same transaction, so a fact and the outlook it moves are never apart.
        ``after_commit`` is told once all is safely written.
        """
        if self.only_read:
            raise StoreTrouble(self.only_read)
        with said_plainly(), self.engine.connect() as tx:
            tx.info["writing"] = True
            tx.info["touched"] = {}
            try:
                with tx.begin():
                    yield tx
                    for hook in self.before_commit:
                        hook(tx, dict(tx.info["touched"]))
                keep_what_was_made(tx)
            finally:
                tx.info.pop("touched", None)
                tx.info.pop("writing", None)
        for told in self.after_commit:
            told()

    def close(self) -> None:
        """Give back every connection."""
        self.engine.dispose()


# What the database says -> what the person can do about it.
_ADVICE = (
    ("disk is full", "The disk is full. Free some space, then send it again."),
    ("no space left", "The disk of the database is full. Free some space there, then send it again."),
    (
        "disk i/o error",
        "The disk refuses to be written: it is full or failing. Free some space or look after the disk, then send it again.",
    ),
    (
        "readonly",
        "The folder of the record cannot be written. Make it writable, or copy it elsewhere and open that copy with --home.",
    ),
    ("unable to open", "Look whether the folder of the record is there and may be read and written."),
    ("malformed", "The file is damaged. Restore the newest copy from the folder backups into a new home."),
    (
        "not a database",
        "The file is not a record. Restore the newest copy from the folder backups into a new home.",
    ),
    (
        "connection",
        "The database does not answer. Look whether it runs and whether DRIVEOUT_DATABASE is right, then send it again.",
    ),
)


_BUSY = ("locked", "serialize", "deadlock")


@contextmanager
def said_plainly() -> Iterator[None]:
    """Turn the database's own errors into words; what the job refuses passes through unchanged."""
    try:
        yield
    except DriveoutError:
        raise
    except DataError as error:
        raise BadEntry(f"The record cannot hold this: {_reason(error)}. Nothing was changed.") from error
    except SQLAlchemyError as error:
        reason = _reason(error)
        if isinstance(error, OperationalError) and any(sign in reason for sign in _BUSY):
            raise Conflict(
                "Another window is writing at this moment. Nothing was changed; try again."
            ) from error
        advice = next((words for sign, words in _ADVICE if sign in reason.lower()), "")
        what = "cannot be written or read" if isinstance(error, OperationalError) else "refused this"
        raise StoreTrouble(f"The record {what}: {reason}. Nothing was changed. {advice}".strip()) from error
    except OverflowError as error:
        if "SQLite INTEGER" not in str(error):
            raise
        raise BadEntry("The record cannot hold a number this large. Nothing was changed.") from error


def _reason(error: SQLAlchemyError) -> str:
    return str(getattr(error, "orig", None) or error).strip().splitlines()[0]


def open_store(url: str, home: Path, clock: Callable[[], datetime] | None = None) -> Store:
    """Open a record without changing its schema (see `driveout.store.upgrade`).

    Parameters
    ----------
    url
        ``sqlite:///path``, ``sqlite://`` (in memory) or ``postgresql+psycopg://...``.
    home
        Folder for attachments and backups; made if missing.
    clock
        Gives the present moment.

    Returns
    -------
    Store
        The opened record.

    Raises
    ------
    StoreTrouble
        If the address is not understood or the folder cannot be made.
    """
    try:
        parsed = sa.make_url(url)
        home.mkdir(parents=True, exist_ok=True)
    except (sa.exc.ArgumentError, OSError) as error:
        raise StoreTrouble(f"The record at {url.split('@')[-1]!r} cannot be opened: {error}.") from error
    if parsed.get_backend_name() == "postgresql":
        engine = sa.create_engine(parsed.set(drivername="postgresql+psycopg"), pool_pre_ping=True)
        watch(engine)
    elif parsed.get_backend_name() == "sqlite":
        return _open_sqlite(parsed, home, clock)
    else:
        raise StoreTrouble(f"{parsed.get_backend_name()!r} is not supported. Use SQLite or PostgreSQL.")
    return Store(engine, home, clock)


def _open_sqlite(url: sa.URL, home: Path, clock: Callable[[], datetime] | None) -> Store:
    """Open a file or memory record; one on a read-only disk is opened for reading."""
    memory = url.database in (None, "", ":memory:")
    pool: dict[str, Any] = {"poolclass": sa.pool.StaticPool} if memory else {}
    only_read = "" if memory else _why_only_read(Path(str(url.database)))
    if only_read:
        # Without its side files, which cannot be made there, SQLite opens the file only as unchanging.
        file = f"file:{quote(str(Path(str(url.database)).resolve()))}"
        url = url.set(database=file, query={"mode": "ro", "immutable": "1", "uri": "true"})
    engine = sa.create_engine(url, connect_args={"check_same_thread": False, "timeout": 10}, **pool)
    sa.event.listen(engine, "connect", _prepare_reading if only_read else _prepare_sqlite)
    sa.event.listen(engine, "begin", _begin_sqlite)
    watch(engine)
    store = Store(engine, home, clock)
    store.only_read = only_read
    return store


def _why_only_read(file: Path) -> str:
    """Why a record that is there can only be read; empty when it can be written."""
    if not file.exists() or (os.access(file, os.W_OK) and os.access(file.parent, os.W_OK)):
        return ""
    waiting = file.with_name(f"{file.name}-wal")
    if waiting.exists() and waiting.stat().st_size:
        raise StoreTrouble(
            f"The folder {file.parent} cannot be written, and {waiting.name} in it holds changes that are not "
            "yet in the record. Copy the whole folder to a disk that can be written and open it there with --home."
        )
    return (
        f"The folder {file.parent} cannot be written, so the record can be read but not changed. Make it "
        "writable, or copy it elsewhere and open that copy with --home. Nothing was changed."
    )


def _prepare_reading(connection: Any, _record: Any) -> None:
    connection.isolation_level = None
    connection.execute("PRAGMA query_only=ON")


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    # The driver's own transaction handling begins too late for a consistent read; we begin ourselves.
    connection.isolation_level = None
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=10000"):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(tx: Tx) -> None:
    # A writer takes its place at once: two writers then queue instead of one failing at its first write.
    tx.exec_driver_sql("BEGIN IMMEDIATE" if tx.info.get("writing") else "BEGIN")
