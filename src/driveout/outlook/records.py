"""Rows of the outlook: the trail of how it moved."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from driveout.store import WORKED_OUT, Moment, Tx, metadata

outlook_point = sa.Table(
    "outlook_point",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("at", Moment, nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("currency", sa.String(3), nullable=False),
    sa.Column("profit_p10_minor", sa.BigInteger),
    sa.Column("profit_p50_minor", sa.BigInteger),
    sa.Column("profit_p90_minor", sa.BigInteger),
    sa.Column("profit_mean_minor", sa.BigInteger),
    sa.Column("loss_chance", sa.Float),
    sa.Column("hours_p10", sa.Float),
    sa.Column("hours_p50", sa.Float),
    sa.Column("hours_p90", sa.Float),
    sa.Column("days_p10", sa.Float),
    sa.Column("days_p50", sa.Float),
    sa.Column("days_p90", sa.Float),
    sa.Column("ceiling_minor", sa.BigInteger),
    sa.Column("binding", sa.String(20), nullable=False),
    sa.Column("wage_mark_minor", sa.BigInteger),
    sa.Column("missing", sa.Text, nullable=False),
    sa.Column("breakdown", sa.JSON, nullable=False),
    sa.Column("finish_p10", sa.String(10)),
    sa.Column("finish_p50", sa.String(10)),
    sa.Column("finish_p80", sa.String(10)),
    sa.Column("finish_p90", sa.String(10)),
    sa.Column("sale_p10", sa.String(10)),
    sa.Column("sale_p50", sa.String(10)),
    sa.Column("sale_p90", sa.String(10)),
    info={WORKED_OUT: True},
)


@dataclass(frozen=True)
class Point:
    """The outlook after one fact; figures are None when it could not be said.

    Money in minor units of ``currency``; ``missing`` says what was not known; ``breakdown`` is
    the whole outlook as plain values. Days of finish and sale are calendar days (ISO), counted
    from today while the car is not bought.
    """

    id: int
    car_id: int
    at: datetime
    reason: str
    currency: str
    profit_p10_minor: int | None
    profit_p50_minor: int | None
    profit_p90_minor: int | None
    profit_mean_minor: int | None
    loss_chance: float | None
    hours_p10: float | None
    hours_p50: float | None
    hours_p90: float | None
    days_p10: float | None
    days_p50: float | None
    days_p90: float | None
    ceiling_minor: int | None
    binding: str
    wage_mark_minor: int | None
    missing: str
    breakdown: dict[str, Any]
    finish_p10: str | None = None
    finish_p50: str | None = None
    finish_p80: str | None = None
    finish_p90: str | None = None
    sale_p10: str | None = None
    sale_p50: str | None = None
    sale_p90: str | None = None

    @property
    def is_known(self) -> bool:
        """Whether the outlook could be said."""
        return self.profit_p50_minor is not None

    def says_the_same(self, values: dict[str, Any]) -> bool:
        """Whether new values would show nothing new."""
        keys = (
            "profit_p10_minor",
            "profit_p50_minor",
            "profit_p90_minor",
            "ceiling_minor",
            "hours_p50",
            "finish_p50",
            "sale_p50",
            "missing",
        )
        if all(getattr(self, key) == values[key] for key in keys):
            endings = [one.get("ending") for one in (self.breakdown, values["breakdown"])]
            return len({one["key"] for one in endings if one}) < 2
        return False


def add_point(tx: Tx, values: dict[str, Any]) -> Point:
    """Add a point to a car's trail."""
    row = tx.execute(sa.insert(outlook_point).values(**values).returning(outlook_point)).one()
    return Point(**row._mapping)


def newest_point(tx: Tx, car_id: int) -> Point | None:
    """The last point of a car's trail."""
    row = tx.execute(
        sa.select(outlook_point)
        .where(outlook_point.c.car_id == car_id)
        .order_by(outlook_point.c.id.desc())
        .limit(1)
    ).first()
    return None if row is None else Point(**row._mapping)


def points(tx: Tx, car_id: int, most: int = 200, *, whole: bool = True) -> list[Point]:
    """A car's trail, oldest first, at most the newest ``most`` points; without breakdowns unless ``whole``."""
    columns = [c for c in outlook_point.c if whole or c.name != "breakdown"]
    rows = tx.execute(
        sa.select(*columns)
        .where(outlook_point.c.car_id == car_id)
        .order_by(outlook_point.c.id.desc())
        .limit(most)
    )
    return [Point(**{"breakdown": {}, **row._mapping}) for row in rows][::-1]
