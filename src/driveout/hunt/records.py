"""Rows of the adverts that cars came from: the words as published, and what was read in them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from driveout.errors import Conflict
from driveout.store import Moment, Tx, metadata

hunt_advert = sa.Table(
    "hunt_advert",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("original", sa.Text, nullable=False),
    sa.Column("sha256", sa.String(64), nullable=False),
    sa.Column("shown", sa.Text, nullable=False),
    sa.Column("items", sa.JSON, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)


@dataclass(frozen=True)
class Snapshot:
    """An advert as it was published on one day, and what was read in it.

    Attributes
    ----------
    id, car_id
        Number of the row and of its car.
    original
        The text exactly as pasted; never changed.
    sha256
        Checksum of the original, hexadecimal.
    shown
        The text as shown; the items point into it.
    items
        What was read, as plain data; an item the person took out carries ``taken_out``.
    at, version
        When it was pasted, and how often its items were corrected.
    """

    id: int
    car_id: int
    original: str
    sha256: str
    shown: str
    items: list[dict[str, Any]]
    at: datetime
    version: int


def _snapshot(row: Any) -> Snapshot:
    return Snapshot(**row._mapping)


def add(tx: Tx, values: dict[str, Any]) -> Snapshot:
    """Keep a pasted advert."""
    made = sa.insert(hunt_advert).values(**values, version=1).returning(hunt_advert)
    return _snapshot(tx.execute(made).one())


def newest(tx: Tx, car_id: int) -> Snapshot | None:
    """The advert of a car as last pasted; None when it was typed as facts only."""
    wanted = (
        sa.select(hunt_advert)
        .where(hunt_advert.c.car_id == car_id)
        .order_by(hunt_advert.c.id.desc())
        .limit(1)
    )
    row = tx.execute(wanted).first()
    return None if row is None else _snapshot(row)


def every(tx: Tx, car_id: int) -> list[Snapshot]:
    """Every pasted advert of a car, oldest first."""
    wanted = sa.select(hunt_advert).where(hunt_advert.c.car_id == car_id).order_by(hunt_advert.c.id)
    return [_snapshot(row) for row in tx.execute(wanted)]


def correct(tx: Tx, snapshot: Snapshot, items: list[dict[str, Any]], version: int) -> Snapshot:
    """Write corrected items if nobody else has corrected since; otherwise a Conflict."""
    result = tx.execute(
        sa.update(hunt_advert)
        .where(hunt_advert.c.id == snapshot.id, hunt_advert.c.version == version)
        .values(items=items, version=version + 1)
        .returning(hunt_advert)
    ).first()
    if result is None:
        raise Conflict(
            "What was read was corrected in another window meanwhile. Look at it again; nothing was lost."
        )
    return _snapshot(result)
