"""Connections and transactions for SQLite and PostgreSQL."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import OperationalError, SQLAlchemyError

from driveout.errors import Conflict, DriveoutError, StoreTrouble

metadata = sa.MetaData()
Tx = sa.Connection
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

    def now(self) -> datetime:
        """Present moment, aware, UTC."""
        return self._clock()

    @contextmanager
    def reading(self) -> Iterator[Tx]:
        """Open a transaction that sees one consistent state and changes nothing."""
        with _said_plainly(), self.engine.connect() as tx:
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
        """
        with _said_plainly(), self.engine.connect() as tx:
            tx.info["writing"] = True
            tx.info["touched"] = {}
            try:
                with tx.begin():
                    yield tx
                    for hook in self.before_commit:
                        hook(tx, dict(tx.info["touched"]))
            finally:
                tx.info.pop("touched", None)
                tx.info.pop("writing", None)

    def close(self) -> None:
        """Give back every connection."""
        self.engine.dispose()


@contextmanager
def _said_plainly() -> Iterator[None]:
    """Turn the database's own errors into words; what the job refuses passes through unchanged."""
    try:
        yield
    except DriveoutError:
        raise
    except OperationalError as error:
        text = str(error.orig)
        if "locked" in text or "serialize" in text or "deadlock" in text:
            raise Conflict(
                "Another window is writing at this moment. Nothing was changed; try again."
            ) from error
        raise StoreTrouble(
            f"The record cannot be written or read: {text.strip()}. Nothing was changed."
        ) from error
    except SQLAlchemyError as error:
        reason = str(getattr(error, "orig", error)).strip().splitlines()[0]
        raise StoreTrouble(f"The record refused this: {reason}. Nothing was changed.") from error


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
    elif parsed.get_backend_name() == "sqlite":
        memory = parsed.database in (None, "", ":memory:")
        pool: dict[str, Any] = {"poolclass": sa.pool.StaticPool} if memory else {}
        engine = sa.create_engine(parsed, connect_args={"check_same_thread": False, "timeout": 10}, **pool)
        sa.event.listen(engine, "connect", _prepare_sqlite)
        sa.event.listen(engine, "begin", _begin_sqlite)
    else:
        raise StoreTrouble(f"{parsed.get_backend_name()!r} is not supported. Use SQLite or PostgreSQL.")
    return Store(engine, home, clock)


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    # The driver's own transaction handling begins too late for a consistent read; we begin ourselves.
    connection.isolation_level = None
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=10000"):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(tx: Tx) -> None:
    # A writer takes its place at once: two writers then queue instead of one failing at its first write.
    tx.exec_driver_sql("BEGIN IMMEDIATE" if tx.info.get("writing") else "BEGIN")
