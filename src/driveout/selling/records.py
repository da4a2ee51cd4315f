"""Rows of asking plans, prices asked, enquiries and offers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa

from driveout.errors import BadEntry, Conflict
from driveout.store import Moment, Tx, metadata
from driveout.units import Money

selling_plan = sa.Table(
    "selling_plan",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("situation", sa.JSON, nullable=False),
    sa.Column("deadline", sa.Date, nullable=False),
    sa.Column("plan", sa.JSON, nullable=False),
    sa.Column("at", Moment, nullable=False),
)
selling_ask = sa.Table(
    "selling_ask",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("ask", sa.BigInteger, nullable=False),
    sa.Column("currency", sa.String(3), nullable=False),
    sa.Column("at", Moment, nullable=False),
)
selling_enquiry = sa.Table(
    "selling_enquiry",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("who", sa.String(200), nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("at", Moment, nullable=False),
)
selling_offer = sa.Table(
    "selling_offer",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("amount", sa.BigInteger, nullable=False),
    sa.Column("currency", sa.String(3), nullable=False),
    sa.Column("buyer", sa.String(200), nullable=False),
    sa.Column("advice", sa.JSON, nullable=False),
    sa.Column("answer", sa.String(20), nullable=False),
    sa.Column("counter_at", sa.BigInteger),
    sa.Column("at", Moment, nullable=False),
    sa.Column("answered_at", Moment),
    sa.Column("version", sa.Integer, nullable=False),
)


@dataclass(frozen=True)
class KeptPlan:
    """An asking plan as made on a day, with the entries it was made from."""

    id: int
    car_id: int
    situation: dict[str, Any]
    deadline: date
    plan: dict[str, Any]
    at: datetime


@dataclass(frozen=True)
class Ask:
    """A price put in the advert."""

    id: int
    car_id: int
    ask: Money
    at: datetime


@dataclass(frozen=True)
class Enquiry:
    """Somebody asked about the car."""

    id: int
    car_id: int
    who: str
    note: str
    at: datetime


@dataclass(frozen=True)
class Offer:
    """An offer, the advice given on it, and the answer; ``answer`` is empty while open."""

    id: int
    car_id: int
    amount: Money
    buyer: str
    advice: dict[str, Any]
    answer: str
    counter_at: Money | None
    at: datetime
    answered_at: datetime | None
    version: int

    @property
    def agreed(self) -> Money:
        """What was agreed when it was accepted: the counter if one stood, else the offer."""
        return self.counter_at or self.amount


def add_plan(
    tx: Tx, car_id: int, situation: dict[str, Any], deadline: date, plan: dict[str, Any], at: datetime
) -> KeptPlan:
    """Insert a plan; earlier ones stay."""
    row = tx.execute(
        sa.insert(selling_plan)
        .values(car_id=car_id, situation=situation, deadline=deadline, plan=plan, at=at)
        .returning(selling_plan)
    ).one()
    return KeptPlan(**row._mapping)


def latest_plan(tx: Tx, car_id: int) -> KeptPlan | None:
    """The newest plan of a car."""
    row = tx.execute(
        sa.select(selling_plan)
        .where(selling_plan.c.car_id == car_id)
        .order_by(selling_plan.c.id.desc())
        .limit(1)
    ).first()
    return None if row is None else KeptPlan(**row._mapping)


def plans_of(tx: Tx, car_ids: Sequence[int]) -> dict[int, KeptPlan]:
    """The newest plan of each of some cars."""
    newest = (
        sa.select(sa.func.max(selling_plan.c.id))
        .where(selling_plan.c.car_id.in_(car_ids))
        .group_by(selling_plan.c.car_id)
    )
    rows = tx.execute(sa.select(selling_plan).where(selling_plan.c.id.in_(newest)))
    return {row.car_id: KeptPlan(**row._mapping) for row in rows}


def logs_of(tx: Tx, car_ids: Sequence[int]) -> dict[int, tuple[list[Ask], list[datetime]]]:
    """Prices asked of each of some cars, and when people asked about it without buying."""
    found: dict[int, tuple[list[Ask], list[datetime]]] = {car_id: ([], []) for car_id in car_ids}
    asked = sa.select(selling_ask).where(selling_ask.c.car_id.in_(car_ids)).order_by(selling_ask.c.id)
    for row in tx.execute(asked):
        found[row.car_id][0].append(_ask(row))
    for table, lost in (
        (selling_enquiry, sa.true()),
        # An open offer may still become the sale; a lost one is an enquiry that did not buy.
        (selling_offer, selling_offer.c.answer.in_(["decline", "withdrawn"])),
    ):
        query = sa.select(table.c.car_id, table.c.at).where(table.c.car_id.in_(car_ids), lost)
        for car_id, at in tx.execute(query):
            found[car_id][1].append(at)
    return found


def add_ask(tx: Tx, car_id: int, ask: Money, at: datetime) -> Ask:
    """Insert a price asked from now on."""
    row = tx.execute(
        sa.insert(selling_ask)
        .values(car_id=car_id, ask=ask.minor, currency=ask.currency, at=at)
        .returning(selling_ask)
    ).one()
    return _ask(row)


def asks_of(tx: Tx, car_id: int) -> tuple[Ask, ...]:
    """Prices asked, in time order."""
    rows = tx.execute(sa.select(selling_ask).where(selling_ask.c.car_id == car_id).order_by(selling_ask.c.id))
    return tuple(_ask(row) for row in rows)


def add_enquiry(tx: Tx, car_id: int, who: str, note: str, at: datetime) -> Enquiry:
    """Insert an enquiry."""
    row = tx.execute(
        sa.insert(selling_enquiry).values(car_id=car_id, who=who, note=note, at=at).returning(selling_enquiry)
    ).one()
    return Enquiry(**row._mapping)


def enquiries_of(tx: Tx, car_id: int) -> tuple[Enquiry, ...]:
    """Enquiries, in time order."""
    rows = tx.execute(
        sa.select(selling_enquiry).where(selling_enquiry.c.car_id == car_id).order_by(selling_enquiry.c.id)
    )
    return tuple(Enquiry(**row._mapping) for row in rows)


def add_offer(tx: Tx, car_id: int, amount: Money, buyer: str, advice: dict[str, Any], at: datetime) -> Offer:
    """Insert an offer with the advice given on it."""
    row = tx.execute(
        sa.insert(selling_offer)
        .values(
            car_id=car_id,
            amount=amount.minor,
            currency=amount.currency,
            buyer=buyer,
            advice=advice,
            answer="",
            at=at,
            version=1,
        )
        .returning(selling_offer)
    ).one()
    return _offer(row)


def offers_of(tx: Tx, car_id: int) -> tuple[Offer, ...]:
    """Offers of a car, newest first."""
    rows = tx.execute(
        sa.select(selling_offer).where(selling_offer.c.car_id == car_id).order_by(selling_offer.c.id.desc())
    )
    return tuple(_offer(row) for row in rows)


def find_offer(tx: Tx, car_id: int, number: int) -> Offer:
    """Return one offer of a car, or refuse a number that is none."""
    row = tx.execute(
        sa.select(selling_offer).where(selling_offer.c.id == number, selling_offer.c.car_id == car_id)
    ).first()
    if row is None:
        raise BadEntry(f"This car has no offer number {number}.", field="offer", value=number)
    return _offer(row)


def change_offer(tx: Tx, offer: Offer, version: int, values: dict[str, Any]) -> Offer:
    """Change an offer if nobody else has meanwhile."""
    row = tx.execute(
        sa.update(selling_offer)
        .where(selling_offer.c.id == offer.id, selling_offer.c.version == version)
        .values(**values, version=version + 1)
        .returning(selling_offer)
    ).first()
    if row is None:
        raise Conflict(
            "This offer was answered in another window meanwhile. Look at it again; nothing was lost."
        )
    return _offer(row)


def _ask(row: Any) -> Ask:
    return Ask(row.id, row.car_id, Money(row.ask, row.currency), row.at)


def _offer(row: Any) -> Offer:
    counter = None if row.counter_at is None else Money(row.counter_at, row.currency)
    return Offer(
        row.id,
        row.car_id,
        Money(row.amount, row.currency),
        row.buyer,
        row.advice,
        row.answer,
        counter,
        row.at,
        row.answered_at,
        row.version,
    )
