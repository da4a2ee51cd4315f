"""Rows of readings, of the maker's limits and of the seller's rule."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa

from driveout.cars.papers import SellerRule
from driveout.errors import Conflict
from driveout.store import Moment, Tx, metadata
from driveout.wear.limits import Limit, maker_limit
from driveout.wear.report import Reading

wear_reading = sa.Table(
    "wear_reading",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("topic", sa.String(20), nullable=False),
    sa.Column("spot", sa.String(40), nullable=False),
    sa.Column("entries", sa.JSON, nullable=False),
    sa.Column("day", sa.String(10), nullable=False),
    sa.Column("km", sa.Float),
    sa.Column("at", Moment, nullable=False),
)
wear_maker_limit = sa.Table(
    "wear_maker_limit",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("quantity", sa.String(40), nullable=False),
    sa.Column("side", sa.String(5), nullable=False),
    sa.Column("spot", sa.String(40), nullable=False),
    sa.Column("typed", sa.String(60), nullable=False),
    sa.Column("origin", sa.String(400), nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
    sa.UniqueConstraint("car_id", "quantity", "side", "spot"),
)
# The rule of the person's own state is not a car's: one row, edited in place.
wear_seller_rule = sa.Table(
    "wear_seller_rule",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("place", sa.String(80), nullable=False),
    sa.Column("counts", sa.JSON, nullable=False),
    sa.Column("window", sa.String(20), nullable=False),
    sa.Column("months", sa.Integer, nullable=False),
    sa.Column("stop_at", sa.Integer, nullable=False),
    sa.Column("origin", sa.String(400), nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)


@dataclass(frozen=True)
class MakerLimit:
    """A maker's limit as kept, with its version."""

    limit: Limit
    version: int


def add_reading(tx: Tx, car_id: int, reading: Reading, at: datetime) -> None:
    """Append a reading; readings are never changed, a newer one replaces it field by field."""
    tx.execute(
        sa.insert(wear_reading).values(
            car_id=car_id,
            topic=reading.topic,
            spot=reading.spot,
            entries=reading.entries,
            day=reading.day.isoformat(),
            km=reading.km,
            at=at,
        )
    )


def readings(tx: Tx, car_id: int) -> list[Reading]:
    """All readings of a car, oldest first."""
    return _read(tx, wear_reading.c.car_id == car_id)


def own_passes(tx: Tx) -> list[Reading]:
    """The person's own sanding and polishing on every car, oldest first: the hand is the same on each."""
    return _read(tx, wear_reading.c.topic == "passes")


def _read(tx: Tx, which: sa.ColumnElement[bool]) -> list[Reading]:
    rows = tx.execute(sa.select(wear_reading).where(which).order_by(wear_reading.c.day, wear_reading.c.id))
    return [
        Reading(row.topic, row.spot, dict(row.entries), date.fromisoformat(row.day), row.km) for row in rows
    ]


def put_limit(
    tx: Tx,
    car_id: int,
    quantity: str,
    side: str,
    spot: str,
    typed: str,
    origin: str,
    at: datetime,
    version: int | None,
) -> None:
    """Insert a maker's limit or replace the one that stands; a Conflict when it changed meanwhile."""
    table = wear_maker_limit
    same = (
        table.c.car_id == car_id,
        table.c.quantity == quantity,
        table.c.side == side,
        table.c.spot == spot,
    )
    row = tx.execute(sa.select(table.c.id, table.c.version).where(*same)).first()
    values = {"typed": typed, "origin": origin, "at": at}
    if row is None:
        tx.execute(
            sa.insert(table).values(
                car_id=car_id, quantity=quantity, side=side, spot=spot, version=1, **values
            )
        )
        return
    seen = row.version if version is None else version
    result = tx.execute(
        sa.update(table)
        .where(table.c.id == row.id, table.c.version == seen)
        .values(version=seen + 1, **values)
    )
    if result.rowcount != 1:
        raise Conflict(
            "This limit was changed in another window meanwhile. Look at it again; nothing was lost."
        )


def drop_limit(tx: Tx, car_id: int, quantity: str, side: str, spot: str, version: int) -> None:
    """Take a maker's limit away; a Conflict when it changed meanwhile."""
    table = wear_maker_limit
    result = tx.execute(
        sa.delete(table).where(
            table.c.car_id == car_id,
            table.c.quantity == quantity,
            table.c.side == side,
            table.c.spot == spot,
            table.c.version == version,
        )
    )
    if result.rowcount != 1:
        raise Conflict("This limit was changed in another window meanwhile. Look at it again.")


def maker_limits(tx: Tx, car_id: int) -> list[MakerLimit]:
    """The maker's limits of a car."""
    table = wear_maker_limit
    rows = tx.execute(
        sa.select(table).where(table.c.car_id == car_id).order_by(table.c.quantity, table.c.spot)
    )
    return [
        MakerLimit(maker_limit(row.quantity, row.side, row.typed, row.origin, row.spot), row.version)
        for row in rows
    ]


def seller_rule(tx: Tx) -> tuple[SellerRule, int] | None:
    """The person's own rule and its version, or None."""
    row = tx.execute(sa.select(wear_seller_rule)).first()
    if row is None:
        return None
    return SellerRule(
        row.place, tuple(row.counts), row.window, row.months, row.stop_at, row.origin
    ), row.version


def put_seller_rule(tx: Tx, rule: SellerRule, version: int | None) -> None:
    """Set the person's rule; a Conflict when it changed meanwhile."""
    values: dict[str, Any] = {
        "place": rule.where,
        "counts": list(rule.counts),
        "window": rule.window,
        "months": rule.months,
        "stop_at": rule.stop_at,
        "origin": rule.origin,
    }
    present = seller_rule(tx)
    if present is None:
        tx.execute(sa.insert(wear_seller_rule).values(version=1, **values))
        return
    seen = present[1] if version is None else version
    result = tx.execute(
        sa.update(wear_seller_rule)
        .where(wear_seller_rule.c.version == seen)
        .values(version=seen + 1, **values)
    )
    if result.rowcount != 1:
        raise Conflict(
            "The rule was changed in another window meanwhile. Look at it again; nothing was lost."
        )
