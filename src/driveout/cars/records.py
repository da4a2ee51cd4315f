"""Rows of cars and of their trail."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from driveout.cars.car import Car, Event
from driveout.errors import BadEntry, Conflict
from driveout.store import Moment, Tx, metadata

cars_car = sa.Table(
    "cars_car",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.String(200), nullable=False),
    sa.Column("stage", sa.String(20), nullable=False),
    sa.Column("currency", sa.String(3), nullable=False),
    sa.Column("made_year", sa.Integer),
    sa.Column("mileage_km", sa.Integer),
    sa.Column("vin", sa.String(40), nullable=False, default=""),
    sa.Column("facts", sa.JSON, nullable=False),
    sa.Column("added_at", Moment, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)
cars_event = sa.Table(
    "cars_event",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False),
    sa.Column("seq", sa.Integer, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("kind", sa.String(40), nullable=False),
    sa.Column("summary", sa.Text, nullable=False),
    sa.Column("data", sa.JSON, nullable=False),
    sa.Column("previous", sa.String(64), nullable=False),
    sa.Column("digest", sa.String(64), nullable=False),
    sa.UniqueConstraint("car_id", "seq"),
)


def _car(row: Any) -> Car:
    return Car(**row._mapping)


def add(tx: Tx, values: dict[str, Any]) -> Car:
    """Insert a car and return it."""
    result = tx.execute(sa.insert(cars_car).values(**values, version=1).returning(cars_car))
    return _car(result.one())


def find(tx: Tx, car_id: int) -> Car:
    """Return one car, or refuse a number that is none."""
    row = tx.execute(sa.select(cars_car).where(cars_car.c.id == car_id)).first()
    if row is None:
        raise BadEntry(f"There is no car number {car_id} in the yard.", field="car", value=car_id)
    return _car(row)


def every(tx: Tx) -> list[Car]:
    """All cars, newest first."""
    return [_car(row) for row in tx.execute(sa.select(cars_car).order_by(cars_car.c.id.desc()))]


def some(tx: Tx, car_ids: Iterable[int]) -> dict[int, Car]:
    """Some cars by number, in one look."""
    rows = tx.execute(sa.select(cars_car).where(cars_car.c.id.in_(list(car_ids))))
    return {row.id: _car(row) for row in rows}


def versions_in(tx: Tx, stages: Iterable[str]) -> list[tuple[int, int]]:
    """Numbers and versions of the cars in some stages, newest first."""
    query = sa.select(cars_car.c.id, cars_car.c.version).where(cars_car.c.stage.in_(list(stages)))
    return [(row.id, row.version) for row in tx.execute(query.order_by(cars_car.c.id.desc()))]


def change(tx: Tx, car: Car, values: dict[str, Any]) -> Car:
    """Change a car's row if nobody else has since; otherwise a Conflict."""
    result = tx.execute(
        sa.update(cars_car)
        .where(cars_car.c.id == car.id, cars_car.c.version == car.version)
        .values(**values, version=car.version + 1)
    )
    if result.rowcount != 1:
        raise Conflict(
            f"{car.name} was changed in another window meanwhile. Look at it again; nothing was lost."
        )
    return find(tx, car.id)


def _digest(previous: str, seq: int, at: datetime, kind: str, summary: str, data: dict[str, Any]) -> str:
    text = json.dumps(
        [previous, seq, at.isoformat(timespec="microseconds"), kind, summary, data],
        sort_keys=True,
        ensure_ascii=False,
    )
    return hashlib.sha256(text.encode()).hexdigest()


def append(tx: Tx, car_id: int, at: datetime, kind: str, summary: str, data: dict[str, Any]) -> Event:
    """Append one event, chained by hash to the one before."""
    # Two people writing to one car take turns; SQLite has a single writer anyway and ignores this.
    tx.execute(sa.select(cars_car.c.id).where(cars_car.c.id == car_id).with_for_update())
    last = tx.execute(
        sa.select(cars_event.c.seq, cars_event.c.digest)
        .where(cars_event.c.car_id == car_id)
        .order_by(cars_event.c.seq.desc())
        .limit(1)
    ).first()
    seq, previous = (last.seq + 1, last.digest) if last else (1, "")
    event = Event(
        car_id, seq, at, kind, summary, data, previous, _digest(previous, seq, at, kind, summary, data)
    )
    tx.execute(sa.insert(cars_event).values(**event.__dict__))
    return event


def trail(tx: Tx, car_id: int, limit: int | None = None) -> list[Event]:
    """A car's events, newest first."""
    query = sa.select(cars_event).where(cars_event.c.car_id == car_id).order_by(cars_event.c.seq.desc())
    rows = tx.execute(query.limit(limit) if limit else query)
    return [Event(**{key: value for key, value in row._mapping.items() if key != "id"}) for row in rows]


def newest_of(tx: Tx, car_id: int, kinds: Sequence[str]) -> dict[str, Event]:
    """A car's newest event of each of some kinds."""
    newest = (
        sa.select(sa.func.max(cars_event.c.seq))
        .where(cars_event.c.car_id == car_id, cars_event.c.kind.in_(kinds))
        .group_by(cars_event.c.kind)
    )
    query = sa.select(cars_event).where(cars_event.c.car_id == car_id, cars_event.c.seq.in_(newest))
    rows = [{k: v for k, v in row._mapping.items() if k != "id"} for row in tx.execute(query)]
    return {row["kind"]: Event(**row) for row in rows}


def broken_link(tx: Tx, car_id: int) -> int | None:
    """Number of the first event whose hash does not follow from the one before; None when all do."""
    previous = ""
    for expected, event in enumerate(reversed(trail(tx, car_id)), 1):
        digest = _digest(previous, event.seq, event.at, event.kind, event.summary, event.data)
        if event.seq != expected or event.previous != previous or event.digest != digest:
            return expected
        previous = digest
    return None
