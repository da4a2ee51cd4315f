"""Rows of parts and of where they can be had."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import sqlalchemy as sa

from driveout.errors import BadEntry, Conflict
from driveout.parts.part import Offer, Part, PartLine
from driveout.store import Tx, metadata
from driveout.units import Money

parts_part = sa.Table(
    "parts_part",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("line_key", sa.String(60), nullable=False),
    sa.Column("what", sa.String(200), nullable=False),
    sa.Column("quantity", sa.String(20), nullable=False),
    sa.Column("number", sa.String(60), nullable=False),
    sa.Column("state", sa.String(20), nullable=False),
    sa.Column("offer_id", sa.Integer),
    sa.Column("ordered_on", sa.Date),
    sa.Column("expected_on", sa.Date),
    sa.Column("received_on", sa.Date),
    sa.Column("fits", sa.Boolean),
    sa.Column("return_by", sa.Date),
    sa.Column("warranty_until", sa.Date),
    # Number of the journal entry that paid for it.
    sa.Column("receipt", sa.Integer),
    sa.Column("version", sa.Integer, nullable=False),
)
parts_offer = sa.Table(
    "parts_offer",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("part_id", sa.ForeignKey("parts_part.id"), nullable=False, index=True),
    sa.Column("shop", sa.String(200), nullable=False),
    sa.Column("currency", sa.String(3), nullable=False),
    sa.Column("price", sa.BigInteger, nullable=False),
    sa.Column("shipping", sa.BigInteger, nullable=False),
    sa.Column("core", sa.BigInteger, nullable=False),
    sa.Column("lead_days", sa.Integer, nullable=False),
    sa.Column("condition", sa.String(10), nullable=False),
    sa.Column("warranty_days", sa.Integer, nullable=False),
    sa.Column("return_days", sa.Integer, nullable=False),
)


def _offer(row: Any) -> Offer:
    def money(minor: int) -> Money:
        return Money(minor, row.currency)

    return Offer(
        row.shop,
        money(row.price),
        row.lead_days,
        row.condition,
        money(row.shipping) if row.shipping else None,
        money(row.core) if row.core else None,
        row.warranty_days,
        row.return_days,
        row.id,
    )


def _part(row: Any, offers: dict[int, Offer]) -> Part:
    return Part(
        id=row.id,
        car_id=row.car_id,
        line=PartLine(row.line_key, row.what, Decimal(row.quantity), row.number),
        state=row.state,
        offer=offers.get(row.offer_id),
        ordered_on=row.ordered_on,
        expected_on=row.expected_on,
        received_on=row.received_on,
        fits=row.fits,
        return_by=row.return_by,
        warranty_until=row.warranty_until,
        receipt=row.receipt,
        version=row.version,
    )


def add_part(tx: Tx, car_id: int, line: PartLine) -> Part:
    """Keep a part that is needed."""
    row = tx.execute(
        sa.insert(parts_part)
        .values(
            car_id=car_id,
            line_key=line.key,
            what=line.what,
            quantity=str(line.quantity),
            number=line.number,
            state="needed",
            version=1,
        )
        .returning(parts_part)
    ).one()
    return _part(row, {})


def add_offer(tx: Tx, part_id: int, offer: Offer) -> Offer:
    """Keep an offer for a part."""
    row = tx.execute(
        sa.insert(parts_offer)
        .values(
            part_id=part_id,
            shop=offer.shop,
            currency=offer.price.currency,
            price=offer.price.minor,
            shipping=offer.shipping.minor if offer.shipping else 0,
            core=offer.core.minor if offer.core else 0,
            lead_days=offer.lead_days,
            condition=offer.condition,
            warranty_days=offer.warranty_days,
            return_days=offer.return_days,
        )
        .returning(parts_offer)
    ).one()
    return _offer(row)


def offers_of(tx: Tx, part_ids: list[int]) -> dict[int, list[Offer]]:
    """Offers by part, in the order they came."""
    found: dict[int, list[Offer]] = {part_id: [] for part_id in part_ids}
    query = sa.select(parts_offer).where(parts_offer.c.part_id.in_(part_ids)).order_by(parts_offer.c.id)
    for row in tx.execute(query):
        found[row.part_id].append(_offer(row))
    return found


def _read(tx: Tx, query: sa.Select[Any]) -> list[Part]:
    rows = list(tx.execute(query))
    offers = {o.id: o for many in offers_of(tx, [row.id for row in rows]).values() for o in many}
    return [_part(row, offers) for row in rows]


def parts_of(tx: Tx, car_id: int) -> list[Part]:
    """Parts of a car in the order they came."""
    return _read(tx, sa.select(parts_part).where(parts_part.c.car_id == car_id).order_by(parts_part.c.id))


def parts_of_cars(tx: Tx, car_ids: list[int]) -> list[Part]:
    """Parts of some cars in the order they came."""
    return _read(tx, sa.select(parts_part).where(parts_part.c.car_id.in_(car_ids)).order_by(parts_part.c.id))


def part(tx: Tx, part_id: int) -> Part:
    """One part, or refuse a number that is none."""
    found = _read(tx, sa.select(parts_part).where(parts_part.c.id == part_id))
    if not found:
        raise BadEntry(f"There is no part number {part_id}.", field="part", value=part_id)
    return found[0]


def change(tx: Tx, before: Part, **values: Any) -> Part:
    """Change a part's row if nobody else has since."""
    p = parts_part.c
    changed = tx.execute(
        sa.update(parts_part)
        .where(p.id == before.id, p.version == before.version)
        .values(**values, version=before.version + 1)
    )
    if changed.rowcount != 1:
        raise Conflict(
            f"{before.line.what} was changed in another window. Look at it again; nothing was lost."
        )
    return part(tx, before.id)
