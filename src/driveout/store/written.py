"""What was written when, so that what was worked out from the record once need not be worked out again.

Every committed write raises a counter of each table it wrote and of each car it wrote about, in the same
transaction. Whoever remembers a value keeps the counters beside it: equal counters mean that nothing it was made
from has changed, whichever process wrote.
"""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from threading import Lock
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

import sqlalchemy as sa

metadata = sa.MetaData()
Tx = sa.Connection
NAME = "store_written"
#: mark in the info of a table that only keeps what was worked out from others, such as the outlook
WORKED_OUT = "worked out"
store_written = sa.Table(
    NAME,
    metadata,
    sa.Column("name", sa.String(80), primary_key=True),
    sa.Column("times", sa.BigInteger, nullable=False),
)
#: values remembered of one record, and large ones; the ones not asked for longest go first
MOST, MOST_LARGE = 4096, 24
_EVERY_CAR = "car *"
_WRITES = re.compile(r'\b(?:INSERT(?: OR \w+)? INTO|UPDATE|DELETE FROM)\s+"?(\w+)', re.IGNORECASE)
_RAISE = sa.text(
    f"INSERT INTO {NAME} (name, times) VALUES (:name, 1) "
    f"ON CONFLICT (name) DO UPDATE SET times = {NAME}.times + 1"
)
_KEY = "driveout written"
T = TypeVar("T")


@dataclass
class _Seen:
    """What one transaction has written, and the counters it found."""

    tables: set[str] = field(default_factory=set)
    cars: set[int] = field(default_factory=set)
    counters: dict[str, int] | None = None
    writes: int = 0
    facts: int = 0

    def count(self, from_facts: bool) -> int:
        """Writes so far that move a value: all, or those of facts alone."""
        return self.facts if from_facts else self.writes

    made: dict[Hashable, _Made] = field(default_factory=dict)
    ready: dict[Hashable, tuple[Hashable, Any, bool]] = field(default_factory=dict)


@dataclass(frozen=True)
class _Made:
    """A value worked out amid writing, after how many writes, and the counters that it belongs to."""

    writes: int
    value: Any
    names: tuple[str, ...]
    given: Hashable
    is_large: bool
    from_facts: bool


@dataclass
class _Kept:
    values: OrderedDict[Hashable, tuple[Hashable, Any]] = field(default_factory=OrderedDict)
    large: OrderedDict[Hashable, tuple[Hashable, Any]] = field(default_factory=OrderedDict)
    lock: Lock = field(default_factory=Lock)
    has_table: bool = False


_kept: WeakKeyDictionary[sa.Engine, _Kept] = WeakKeyDictionary()


def watch(engine: sa.Engine) -> None:
    """Count what is written through an engine."""
    sa.event.listen(engine, "begin", _begin)
    sa.event.listen(engine, "before_cursor_execute", _look)
    sa.event.listen(engine, "commit", _commit)
    sa.event.listen(engine, "rollback_savepoint", _undone)


def _begin(tx: Tx) -> None:
    tx.info[_KEY] = _Seen()


def _look(tx: Tx, _cursor: Any, statement: str, parameters: Any, context: Any, _executemany: bool) -> None:
    if statement.lstrip()[:1] not in "IUDWiudw":
        return
    found = _WRITES.search(statement)
    if found is None or found[1] == NAME:
        return
    seen: _Seen = tx.info.setdefault(_KEY, _Seen())
    seen.tables.add(found[1])
    table = metadata.tables.get(found[1])
    seen.writes += 1
    if table is None or not table.info.get(WORKED_OUT):
        seen.facts += 1
    if context is not None and context.compiled is not None:
        for row in context.compiled_parameters:
            names = ("car_id", "car_id_1", "id_1") if found[1] == "cars_car" else ("car_id", "car_id_1")
            seen.cars.update(row[name] for name in names if isinstance(row.get(name), int))


def _undone(tx: Tx, *_: Any) -> None:
    seen: _Seen = tx.info.setdefault(_KEY, _Seen())
    seen.writes += 1
    seen.facts += 1


def about_car(tx: Tx, car_id: int) -> None:
    """Count the next write of this transaction to a car whose number is not among its columns."""
    tx.info.setdefault(_KEY, _Seen()).cars.add(car_id)


def _commit(tx: Tx) -> None:
    if not tx.in_transaction():
        # What the connection was used for before must not be taken for this transaction.
        tx.begin()
    seen: _Seen | None = tx.info.get(_KEY)
    if seen is None or not seen.tables or not _has_table(tx):
        return
    names = sorted(seen.tables) + sorted(f"car {car}" for car in seen.cars)
    # Writers wait for each other's counters in one order, so that none waits in a ring.
    tx.execute(_RAISE, [{"name": name} for name in (names if seen.cars else [*names, _EVERY_CAR])])
    seen.tables.clear()
    seen.counters = None
    # Only where writers take turns is what was read in this transaction sure to be what the counters now say.
    if seen.made and tx.dialect.name == "sqlite" and (counters := _counters(tx, seen)) is not None:
        seen.ready = {
            what: (_key(counters, made.names, made.given), made.value, made.is_large)
            for what, made in seen.made.items()
            if made.writes == seen.count(made.from_facts)
        }


def keep_what_was_made(tx: Tx) -> None:
    """Remember, after the commit, what its transaction worked out after its last write."""
    seen: _Seen | None = tx.info.get(_KEY)
    if seen is not None:
        for what, (key, value, is_large) in seen.ready.items():
            _keep(tx, what, key, value, is_large)
        seen.ready = {}


def _has_table(tx: Tx) -> bool:
    kept = _of(tx)
    if not kept.has_table:
        kept.has_table = sa.inspect(tx).has_table(NAME)
    return kept.has_table


def _of(tx: Tx) -> _Kept:
    return _kept.setdefault(tx.engine, _Kept())


def _counters(tx: Tx, seen: _Seen) -> dict[str, int] | None:
    if seen.counters is None and _has_table(tx):
        rows = tx.exec_driver_sql(f"SELECT name, times FROM {NAME}").all()
        seen.counters = {name: times for name, times in rows}
    return seen.counters


def remembered(
    tx: Tx,
    what: Hashable,
    build: Callable[[], T],
    *,
    tables: tuple[str, ...] = (),
    car: int | None = None,
    given: Hashable = (),
    is_large: bool = False,
    from_facts: bool = False,
) -> T:
    """Return what was worked out before while the record it was made from is unchanged, else work it out.

    Parameters
    ----------
    tx
        Open transaction.
    what
        Name of the value; one value is kept under each.
    build
        Works the value out; it must be a value that nobody changes.
    tables
        Tables it is read from.
    car
        Car whose rows it is read from, in whatever table.
    given
        Everything it depends on besides the record.
    is_large
        Whether it is of a megabyte rather than a kilobyte; few of those are kept.
    from_facts
        Whether it is read from facts alone, never from a table marked `WORKED_OUT`: then it
        still holds when such a table is written after it, in the same transaction.

    Returns
    -------
    T
        The value. In a transaction that has written to one of the tables, or about a car, it is
        worked out anew after each write.
    """
    if not tx.in_transaction():
        # What the connection was used for before must not be taken for this transaction.
        tx.begin()
    seen: _Seen | None = tx.info.get(_KEY)
    names = tables if car is None else (*tables, f"car {car}", _EVERY_CAR)
    if seen is not None and (not seen.tables.isdisjoint(tables) or (car is not None and seen.tables)):
        made = seen.made.get(what)
        if made is None or made.writes != seen.count(from_facts) or made.given != given:
            made = seen.made[what] = _Made(
                seen.count(from_facts), build(), names, given, is_large, from_facts
            )
        return made.value  # type: ignore[no-any-return]
    counters = None if seen is None else _counters(tx, seen)
    if counters is None:
        return build()
    key = _key(counters, names, given)
    kept = _of(tx)
    values = kept.large if is_large else kept.values
    with kept.lock:
        held = values.get(what)
        if held is not None and held[0] == key:
            values.move_to_end(what)
            return held[1]  # type: ignore[no-any-return]
    value = build()
    _keep(tx, what, key, value, is_large)
    return value


def _key(counters: dict[str, int], names: tuple[str, ...], given: Hashable) -> Hashable:
    return (*(counters.get(name, 0) for name in names), given)


def _keep(tx: Tx, what: Hashable, key: Hashable, value: object, is_large: bool) -> None:
    kept = _of(tx)
    values, most = (kept.large, MOST_LARGE) if is_large else (kept.values, MOST)
    with kept.lock:
        values[what] = (key, value)
        values.move_to_end(what)
        if len(values) > most:
            values.popitem(last=False)
