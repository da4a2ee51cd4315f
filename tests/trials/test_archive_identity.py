"""Archive out and in is the identity, with every table filled, on and between both engines."""

from __future__ import annotations

import importlib
import importlib.util
import shutil
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from driveout.app import PARTS, ready_store
from driveout.store import Store, metadata, open_store, restore, write_archive

for part in PARTS:
    if importlib.util.find_spec(f"driveout.{part}.records"):
        importlib.import_module(f"driveout.{part}.records")

# Letters of every kind, except what no form lets through and PostgreSQL cannot hold: zero and lone surrogates.
LETTERS = st.characters(codec="utf-8", exclude_characters="\x00")
PLAIN = (
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
)
TREE = st.recursive(
    PLAIN | st.text(LETTERS, max_size=8),
    lambda inner: (
        st.lists(inner, max_size=2) | st.dictionaries(st.text(LETTERS, max_size=5), inner, max_size=2)
    ),
    max_leaves=4,
)
TABLES = metadata.sorted_tables


def values_for(column: sa.Column[Any], row: int) -> st.SearchStrategy[Any]:
    """Any value that the column can hold; keys are numbered so that rows fit together."""
    kind = column.type
    if column.foreign_keys:
        return st.just(row + 1)
    if column.primary_key and isinstance(kind, sa.Integer):
        return st.just(row + 1)
    found: st.SearchStrategy[Any]
    if isinstance(kind, sa.Boolean):
        found = st.booleans()
    elif isinstance(kind, sa.BigInteger):
        found = st.integers(-(2**63), 2**63 - 1)
    elif isinstance(kind, sa.Integer):
        found = st.integers(-(2**31), 2**31 - 1)
    elif isinstance(kind, sa.Float):
        found = st.floats(allow_nan=False, allow_infinity=False)
    elif isinstance(kind, sa.Date):
        found = st.dates(date(1, 1, 1), date(9999, 12, 31))
    elif isinstance(kind, sa.JSON):
        return TREE.filter(lambda tree: tree is not None)
    else:
        longest = getattr(kind, "length", None) or getattr(getattr(kind, "impl", None), "length", None) or 30
        # A leading number keeps what must be unique unique.
        found = st.text(LETTERS, max_size=min(longest - 3, 12)).map(lambda text: f"{row}{text}")
        if longest <= 5:
            found = st.just(f"{row:03}"[:longest])
    return (st.none() | found) if column.nullable else found


@st.composite
def records(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """Two rows for every table."""
    return {
        table.name: [
            {column.name: draw(values_for(column, row)) for column in table.columns} for row in range(2)
        ]
        for table in TABLES
    }


def fill(store: Store, rows: dict[str, list[dict[str, Any]]]) -> None:
    """Put the rows in as they are, past the actions."""
    with store.writing() as tx:
        present = sa.MetaData()
        present.reflect(tx)
        for table in TABLES:
            # Reflected tables take moments as the text that they are kept as.
            tx.execute(sa.insert(present.tables[table.name]), rows[table.name])


def test_the_generated_records_fill_every_table() -> None:
    assert len(TABLES) >= 30


@pytest.mark.postgres
def test_archive_out_and_in_is_the_identity_on_and_between_both_engines(
    tmp_path_factory: pytest.TempPathFactory,
    migrated_postgres: Callable[[], str],
    counted: Callable[..., None],
) -> None:
    crew = ready_store(tmp_path_factory.mktemp("crew"), migrated_postgres())
    names = ", ".join(table.name for table in TABLES)
    seen = {"records": 0, "rows": 0}
    empty = tmp_path_factory.mktemp("empty")
    ready_store(empty, f"sqlite:///{empty / 'driveout.db'}").close()

    @settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
    @given(records())
    def trial(rows: dict[str, list[dict[str, Any]]]) -> None:
        folder = tmp_path_factory.mktemp("trial")
        with crew.engine.begin() as connection:
            connection.exec_driver_sql(f"TRUNCATE {names} RESTART IDENTITY CASCADE")
        shutil.copy(empty / "driveout.db", folder / "a.db")  # quicker than to migrate each time
        first = open_store(f"sqlite:///{folder / 'a.db'}", folder / "a")
        fill(first, rows)
        out = write_archive(first, folder / "1.zip")
        assert all(facts["rows"] == 2 for name, facts in out["tables"].items() if name in rows)
        restore(folder / "1.zip", crew)
        assert write_archive(crew, folder / "2.zip")["tables"] == out["tables"]
        shutil.copy(empty / "driveout.db", folder / "b.db")
        last = open_store(f"sqlite:///{folder / 'b.db'}", folder / "b")
        restore(folder / "2.zip", last)
        assert write_archive(last, folder / "3.zip")["tables"] == out["tables"]
        seen["records"] += 1
        seen["rows"] += sum(facts["rows"] for facts in out["tables"].values())
        first.close()
        last.close()

    trial()
    crew.close()
    counted("archive out and in, SQLite to PostgreSQL to SQLite", tables=len(TABLES), changed=0, **seen)
