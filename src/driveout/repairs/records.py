"""Rows of what the person decided to mend, and within which limits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from driveout.errors import Conflict
from driveout.store import Moment, Tx, metadata

repairs_chosen = sa.Table(
    "repairs_chosen",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("repair", sa.String(120), nullable=False),
    sa.Column("choice", sa.String(40), nullable=False),
    sa.Column("state", sa.String(20), nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
    sa.UniqueConstraint("car_id", "repair"),
)
repairs_limits = sa.Table(
    "repairs_limits",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, unique=True),
    sa.Column("wage_minor", sa.BigInteger, nullable=False),
    sa.Column("value_minor", sa.BigInteger),
    sa.Column("budget_minor", sa.BigInteger),
    sa.Column("hours", sa.Float),
    sa.Column("at", Moment, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)


@dataclass(frozen=True)
class Chosen:
    """A repair as decided: ``state`` is ``chosen``, ``done`` or ``dropped``; ``note`` says why."""

    id: int
    car_id: int
    repair: str
    choice: str
    state: str
    note: str
    at: datetime
    version: int


@dataclass(frozen=True)
class Means:
    """What the person has for this car: worth of an hour, value when sound, budget, hours; None = no limit."""

    car_id: int
    wage_minor: int
    value_minor: int | None
    budget_minor: int | None
    hours: float | None
    version: int


def chosen_of(tx: Tx, car_id: int) -> list[Chosen]:
    """Every repair ever decided for a car, in the order of deciding."""
    rows = sa.select(repairs_chosen).where(repairs_chosen.c.car_id == car_id).order_by(repairs_chosen.c.id)
    return [Chosen(**row._mapping) for row in tx.execute(rows)]


def save_chosen(
    tx: Tx, car_id: int, repair: str, values: dict[str, Any], at: datetime, version: int | None = None
) -> Chosen:
    """Write a decision; ``version`` is what the person was looking at."""
    held = next((row for row in chosen_of(tx, car_id) if row.repair == repair), None)
    if held is None:
        tx.execute(
            sa.insert(repairs_chosen).values(
                car_id=car_id, repair=repair, at=at, version=1, **{"note": "", "choice": "", **values}
            )
        )
    else:
        seen = held.version if version is None else version
        result = tx.execute(
            sa.update(repairs_chosen)
            .where(repairs_chosen.c.id == held.id, repairs_chosen.c.version == seen)
            .values(**values, at=at, version=held.version + 1)
        )
        if result.rowcount != 1:
            raise Conflict("This repair was changed in another window meanwhile. Look at it again.")
    return next(row for row in chosen_of(tx, car_id) if row.repair == repair)


def means_of(tx: Tx, car_id: int) -> Means | None:
    """What the person typed in for this car, or None."""
    row = tx.execute(sa.select(repairs_limits).where(repairs_limits.c.car_id == car_id)).first()
    if row is None:
        return None
    return Means(row.car_id, row.wage_minor, row.value_minor, row.budget_minor, row.hours, row.version)


def save_means(
    tx: Tx, car_id: int, values: dict[str, Any], at: datetime, version: int | None = None
) -> Means:
    """Write the person's means; ``version`` is what the person was looking at."""
    held = means_of(tx, car_id)
    if held is None:
        tx.execute(sa.insert(repairs_limits).values(car_id=car_id, at=at, version=1, **values))
    else:
        seen = held.version if version is None else version
        result = tx.execute(
            sa.update(repairs_limits)
            .where(repairs_limits.c.car_id == car_id, repairs_limits.c.version == seen)
            .values(**values, at=at, version=held.version + 1)
        )
        if result.rowcount != 1:
            raise Conflict("These limits were changed in another window meanwhile. Look at them again.")
    made = means_of(tx, car_id)
    assert made is not None
    return made
