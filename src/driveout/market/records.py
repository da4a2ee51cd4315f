"""Rows of comparables and of appraisals."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa

from driveout.errors import BadEntry, Conflict
from driveout.market.appraisal import RefersTo, step_of
from driveout.market.comparables import Comparable
from driveout.store import Moment, Tx, metadata
from driveout.units import Money

market_comparable = sa.Table(
    "market_comparable",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("price", sa.BigInteger, nullable=False),
    sa.Column("currency", sa.String(3), nullable=False),
    sa.Column("facts", sa.JSON, nullable=False),
    sa.Column("taken_out", sa.Boolean, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)
market_appraisal = sa.Table(
    "market_appraisal",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("value", sa.BigInteger, nullable=False),
    sa.Column("low", sa.BigInteger, nullable=False),
    sa.Column("high", sa.BigInteger, nullable=False),
    sa.Column("currency", sa.String(3), nullable=False),
    sa.Column("log_mean", sa.Float, nullable=False),
    sa.Column("log_sd", sa.Float, nullable=False),
    sa.Column("used", sa.Integer, nullable=False),
    sa.Column("content", sa.JSON, nullable=False),
    sa.Column("at", Moment, nullable=False),
)
_DAYS = ("listed", "seen", "last_seen", "gone")


@dataclass(frozen=True)
class KeptComparable:
    """A comparable of one car in the record."""

    id: int
    car_id: int
    car: Comparable
    at: datetime
    version: int


@dataclass(frozen=True)
class KeptAppraisal:
    """The value of one car as found on a day; ``content`` is the whole appraisal as plain data."""

    id: int
    car_id: int
    value: Money
    low: Money
    high: Money
    log_mean: float
    log_sd: float
    used: int
    content: dict[str, Any]
    at: datetime

    @property
    def refers_to(self) -> RefersTo:
        """``average`` or ``sound``: which car the value is that of; see `Appraisal`."""
        return "sound" if self.content.get("refers_to") == "sound" else "average"

    @property
    def condition_step(self) -> tuple[float, float] | None:
        """Log price of one step of condition and its spread; None when no car stated one."""
        return step_of(self.content.get("effects", ()))


def add_comparable(tx: Tx, car_id: int, comparable: Comparable, at: datetime) -> KeptComparable:
    """Insert one comparable."""
    row = tx.execute(
        sa.insert(market_comparable)
        .values(
            car_id=car_id,
            price=comparable.price.minor,
            currency=comparable.price.currency,
            facts=_facts(comparable),
            taken_out=False,
            at=at,
            version=1,
        )
        .returning(market_comparable)
    ).one()
    return _kept(row)


def comparables_of(tx: Tx, car_id: int, newest: int | None = None) -> tuple[KeptComparable, ...]:
    """Comparables of a car in the order they came, without those taken out; all, or so many of the newest."""
    rows = tx.execute(
        sa.select(market_comparable)
        .where(market_comparable.c.car_id == car_id, market_comparable.c.taken_out.is_(False))
        .order_by(market_comparable.c.id.desc())
        .limit(newest)
    ).all()
    return tuple(_kept(row) for row in reversed(rows))


def comparables_of_others(
    tx: Tx, car_id: int, currency: str, most: int, each: int
) -> dict[int, tuple[Comparable, ...]]:
    """The newest comparables of other cars in one currency, by car, of the cars that were given some last."""
    others = tx.execute(
        sa.select(market_comparable.c.car_id)
        .where(
            market_comparable.c.car_id != car_id,
            market_comparable.c.currency == currency,
            market_comparable.c.taken_out.is_(False),
        )
        .group_by(market_comparable.c.car_id)
        .order_by(sa.func.max(market_comparable.c.id).desc())
        .limit(most)
    ).scalars()
    return {other: tuple(kept.car for kept in comparables_of(tx, other, each)) for other in others.all()}


def change_comparable(
    tx: Tx, car_id: int, number: int, version: int, values: dict[str, Any]
) -> KeptComparable:
    """Change one comparable if nobody else has meanwhile."""
    row = tx.execute(
        sa.select(market_comparable).where(
            market_comparable.c.id == number, market_comparable.c.car_id == car_id
        )
    ).first()
    if row is None:
        raise BadEntry(f"This car has no comparable number {number}.", field="comparable", value=number)
    if row.version != version:
        raise Conflict("This comparable was changed in another window meanwhile. Look at it again.")
    if "facts" in values:
        values = {**values, "facts": {**row.facts, **values["facts"]}}
    changed = tx.execute(
        sa.update(market_comparable)
        .where(market_comparable.c.id == number, market_comparable.c.version == version)
        .values(**values, version=version + 1)
        .returning(market_comparable)
    ).first()
    if changed is None:
        raise Conflict("This comparable was changed in another window meanwhile. Look at it again.")
    return _kept(changed)


def add_appraisal(tx: Tx, values: dict[str, Any]) -> KeptAppraisal:
    """Insert an appraisal; earlier ones stay."""
    return _appraisal(
        tx.execute(sa.insert(market_appraisal).values(**values).returning(market_appraisal)).one()
    )


def latest_appraisal(tx: Tx, car_id: int) -> KeptAppraisal | None:
    """The newest appraisal of a car."""
    row = tx.execute(
        sa.select(market_appraisal)
        .where(market_appraisal.c.car_id == car_id)
        .order_by(market_appraisal.c.id.desc())
        .limit(1)
    ).first()
    return None if row is None else _appraisal(row)


def appraisal_before(tx: Tx, car_id: int, moment: datetime) -> KeptAppraisal | None:
    """The newest appraisal of a car made before a moment."""
    row = tx.execute(
        sa.select(market_appraisal)
        .where(market_appraisal.c.car_id == car_id, market_appraisal.c.at < moment)
        .order_by(market_appraisal.c.id.desc())
        .limit(1)
    ).first()
    return None if row is None else _appraisal(row)


def _facts(comparable: Comparable) -> dict[str, Any]:
    facts: dict[str, Any] = {}
    for field in fields(Comparable):
        value = getattr(comparable, field.name)
        if field.name == "price" or value in (None, "", (), {}):
            continue
        if isinstance(value, date):
            value = value.isoformat()
        facts[field.name] = list(value) if isinstance(value, tuple) else value
    return facts


def _kept(row: Any) -> KeptComparable:
    facts = dict(row.facts)
    for day in _DAYS:
        if day in facts:
            facts[day] = date.fromisoformat(facts[day])
    if "options" in facts:
        facts["options"] = tuple(facts["options"])
    car = Comparable(price=Money(row.price, row.currency), **facts)
    return KeptComparable(row.id, row.car_id, car, row.at, row.version)


def _appraisal(row: Any) -> KeptAppraisal:
    value, low, high = (Money(amount, row.currency) for amount in (row.value, row.low, row.high))
    return KeptAppraisal(
        row.id,
        row.car_id,
        value,
        low,
        high,
        row.log_mean,
        row.log_sd,
        row.used,
        row.content,
        row.at,
    )
