"""Bringing a record to the present schema, tried on a copy first."""

from __future__ import annotations

import shutil
import tempfile
from functools import cache
from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from driveout.errors import StoreTrouble
from driveout.store.engine import Store, open_store, said_plainly

# Tables that only ever grow. The migrations make the guards by hand: they are not part of the metadata.
APPEND_ONLY = ("cars_event", "money_entry", "money_posting", "money_link", "money_closed")


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    return config


@cache
def head() -> str:
    """Name of the newest schema."""
    return str(ScriptDirectory.from_config(_config()).get_current_head())


@cache
def known_revisions() -> frozenset[str]:
    """Every schema that this driveout has had."""
    scripts = ScriptDirectory.from_config(_config()).walk_revisions()
    return frozenset(str(script.revision) for script in scripts)


def revision_of(store: Store) -> str | None:
    """Schema that the record is at; None for an empty one."""
    with said_plainly(), store.engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def upgrade(store: Store, to: str = "head") -> None:
    """Bring the record to a schema.

    A SQLite file that already holds data is copied first and the change tried on the copy; only
    when that works is the record itself touched, in one transaction.

    Parameters
    ----------
    store
        The record.
    to
        Schema name; the newest by default.

    Raises
    ------
    StoreTrouble
        If the record comes from a newer driveout, or the change fails on the copy.
    """
    present = revision_of(store)
    if present is not None and present not in known_revisions():
        raise StoreTrouble(
            f"The record is at schema {present!r}, which this driveout does not know. Use the newer version."
        )
    if to == "head" and present == head():
        return
    if store.only_read:
        raise StoreTrouble(f"The record needs a change of schema. {store.only_read}")
    database = store.engine.url.database
    if present is not None and store.engine.dialect.name == "sqlite" and database:
        _try_on_copy(Path(database), to)
    _run(store, to)


def _try_on_copy(path: Path, to: str) -> None:
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".trial-") as folder:
        trial = Path(folder) / "trial.db"
        source = open_store(f"sqlite:///{path}", path.parent)
        with source.engine.connect() as connection:
            connection.connection.execute("VACUUM INTO ?", (str(trial),))
        source.close()
        copy = open_store(f"sqlite:///{trial}", Path(folder))
        try:
            _run(copy, to)
        except Exception as error:
            raise StoreTrouble(
                f"The change of schema failed on a copy: {error}. The record itself was not touched."
            ) from error
        finally:
            copy.close()
            shutil.rmtree(folder, ignore_errors=True)


def _run(store: Store, to: str) -> None:
    config = _config()
    with store.engine.connect() as connection:
        connection.info["writing"] = True
        try:
            with connection.begin():
                config.attributes["connection"] = connection
                command.upgrade(config, to)
        finally:
            connection.info.pop("writing", None)


def missing_guards(store: Store) -> list[str]:
    """Append-only tables whose guard against change is not there."""
    inspector = sa.inspect(store.engine)
    with store.engine.connect() as connection:
        if store.engine.dialect.name == "sqlite":
            rows = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        else:
            rows = connection.exec_driver_sql("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal")
        present = {row[0] for row in rows}
    return [
        table
        for table in APPEND_ONLY
        if inspector.has_table(table) and not {f"{table}_no_update", f"{table}_no_delete"} <= present
    ]
