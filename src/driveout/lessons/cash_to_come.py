"""What the cars in hand will still take and give: parts on their way, deposits due, work left, the sale."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from driveout.lessons.estimate import Estimate
from driveout.money import OpenCore
from driveout.money.cash_ahead import CashAhead, Planned
from driveout.parts import Part
from driveout.units import Money


@dataclass(frozen=True)
class CarInHand:
    """What is known of one car that is bought and not sold.

    Parameters
    ----------
    car_id, name
        Which.
    estimate
        Frozen estimate, None when there is none.
    booked
        Cost booked by line of the estimate, in minor units.
    parts
        Its parts.
    cores
        Core deposits still owed to the person.
    held
        Deposits of buyers, which lower what the sale brings.
    sale
        Sale that the person expects, None when no day was typed.
    """

    car_id: int
    name: str
    estimate: Estimate | None
    booked: Mapping[str, int]
    parts: Sequence[Part]
    cores: Sequence[OpenCore]
    held: Money
    sale: Planned | None = None


@dataclass(frozen=True)
class Undated:
    """Money that is expected on a day nobody knows; it is in no sum."""

    what: str
    amount: Money


def moves_of(car: CarInHand, today: datetime.date) -> tuple[tuple[Planned, ...], tuple[Undated, ...]]:
    """Dated moves of one car and what has no day.

    What the estimate still holds unspent counts today, as if all of it were paid at once: the careful
    reading. A part already ordered is taken off its line, so that nothing counts twice.

    Parameters
    ----------
    car
        The car.
    today
        The day.

    Returns
    -------
    tuple
        Moves, and expected money without a day.
    """
    currency = car.held.currency
    moves: list[Planned] = []
    undated: list[Undated] = []
    ordered: dict[str, int] = {}

    def move(day: datetime.date, amount: Money, what: str) -> None:
        if amount.minor:
            moves.append(Planned(day, amount, f"{car.name}: {what}"[:200], car_id=car.car_id))

    return_by = {part.receipt: part.return_by for part in car.parts if part.receipt and part.return_by}
    for part in car.parts:
        if part.offer is None or part.offer.price.currency != currency:
            continue
        if part.state == "ordered":
            move(part.expected_on or today, -part.offer.to_pay, f"{part.line.what} from {part.offer.shop}")
            ordered[part.line.key] = ordered.get(part.line.key, 0) + part.offer.landed.minor
            if part.offer.core:
                undated.append(Undated(f"{car.name}: core deposit of {part.line.what}", part.offer.core))
        elif part.state == "here" and part.fits is False and part.return_by:
            move(part.return_by, part.offer.price, f"{part.line.what} given back")
    for core in car.cores:
        what, by = f"core deposit of {core.receipt.narration}", return_by.get(core.receipt.number)
        if by:
            move(by, core.owed, what)
        else:
            undated.append(Undated(f"{car.name}: {what}", core.owed))
    if car.estimate and car.estimate.currency == currency:
        left = sum(
            max(
                0,
                line.planned_money(currency).minor - car.booked.get(line.key, 0) - ordered.get(line.key, 0),
            )
            for line in car.estimate.lines
            if line.kind != "purchase"
        )
        move(today, Money(-left, currency), "rest of the estimate, as if paid today")
    if car.sale:
        # One sum: the fees and the deposit held never leave the cash lower before the sale than after it.
        less = car.held
        if car.estimate and car.estimate.currency == currency:
            less += car.estimate.selling_fees
        words = "expected sale" + (f", less {less.text()} of fees and deposit held" if less.minor else "")
        move(car.sale.day, car.sale.amount - less, words)
    return tuple(moves), tuple(undated)


_WIDE, _HIGH, _TOP, _FOOT, _SIDE = 360.0, 190.0, 24.0, 24.0, 8.0


def cash_svg(ahead: CashAhead) -> str:
    """Draw the run of cash as steps, the lowest point marked; the same numbers stand in the table.

    Parameters
    ----------
    ahead
        The cash to come.

    Returns
    -------
    str
        An SVG that scales to its place; empty when nothing is expected.
    """
    if not ahead.rows:
        return ""
    days = [max(row.move.day, ahead.today) for row in ahead.rows]
    span = max((days[-1] - ahead.today).days, 1)
    heights = [ahead.opening.minor, *(row.after.minor for row in ahead.rows)]
    low, high = min(0, *heights), max(0, *heights)
    scale = (_HIGH - _TOP - _FOOT) / ((high - low) or 1)

    def x(day: datetime.date) -> float:
        return _SIDE + (_WIDE - 2 * _SIDE) * (day - ahead.today).days / span

    def y(minor: int) -> float:
        return _HIGH - _FOOT - (minor - low) * scale

    path = [f"M{x(ahead.today):.1f},{y(ahead.opening.minor):.1f}"]
    for day, row in zip(days, ahead.rows, strict=True):
        path.append(f"H{x(day):.1f}V{y(row.after.minor):.1f}")
    where = ahead.lowest_on or ahead.today
    left, down = x(where), y(ahead.lowest.minor)
    anchor = "start" if left < _WIDE / 3 else "end" if left > 2 * _WIDE / 3 else "middle"
    # Beside the mark stands one word; the amount is in the heading and in the table.
    above = down - 10 if down > _TOP + 12 else down + 22
    aside = left + {"start": 8, "end": -8}.get(anchor, 0)
    said = f"Cash from {ahead.opening.text()} today; lowest {ahead.lowest.text()} on {where.isoformat()}"
    return (
        f'<svg class="cash" width="440" viewBox="0 0 {_WIDE:.0f} {_HIGH:.0f}" role="img" aria-label="{escape(said)}">'
        f'<line x1="0" x2="{_WIDE:.0f}" y1="{y(0):.1f}" y2="{y(0):.1f}" stroke="currentColor" stroke-dasharray="3 3"/>'
        f'<text x="{_WIDE - _SIDE:.0f}" y="14" text-anchor="end" font-size="14">dashed: nothing left</text>'
        f'<path d="{"".join(path)}" fill="none" stroke="currentColor" stroke-width="2"/>'
        f'<circle cx="{left:.1f}" cy="{down:.1f}" r="5" fill="currentColor"/>'
        f'<text x="{aside:.1f}" y="{above:.1f}" text-anchor="{anchor}" font-size="14">lowest</text>'
        f'<text x="{_SIDE:.0f}" y="{_HIGH - 6:.0f}" font-size="14">today</text>'
        f'<text x="{_WIDE - _SIDE:.0f}" y="{_HIGH - 6:.0f}" text-anchor="end" font-size="14">{days[-1].isoformat()}</text>'
        "</svg>"
    )
