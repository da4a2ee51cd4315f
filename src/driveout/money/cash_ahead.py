"""What the money at hand will be: booked cash today and every in and out that is known or expected."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from driveout.errors import BadEntry
from driveout.money.car_cost import CashMove, lowest_cash
from driveout.units import Money

PLANNED_KINDS = ("sale", "other")


@dataclass(frozen=True)
class Planned:
    """Money expected on a day, not booked.

    Parameters
    ----------
    day
        When.
    amount
        Above 0 comes in, below 0 goes out.
    what
        In words.
    kind
        ``sale`` for the sale of a car, else ``other``.
    car_id
        Car it belongs to, if any; a sale needs one.
    id, version
        Row number and version, 0 while not kept.
    """

    day: datetime.date
    amount: Money
    what: str
    kind: str = "other"
    car_id: int | None = None
    id: int = 0
    version: int = 0

    def __post_init__(self) -> None:
        if self.kind not in PLANNED_KINDS or (self.kind == "sale" and self.car_id is None):
            raise BadEntry(
                f"{self.kind!r} is not a kind of expected money.",
                field="kind",
                value=self.kind,
                allowed="sale (of a car), other",
            )
        if not self.amount.minor or (self.kind == "sale" and self.amount.minor < 0):
            raise BadEntry(
                f"An expected {self.amount.text()} moves nothing.",
                field="amount",
                value=self.amount.text(),
                allowed="above 0" if self.kind == "sale" else "not 0",
            )
        if not self.what.strip() or len(self.what) > 200:
            raise BadEntry("Say in 1 to 200 characters what it is for.", field="what", value=self.what[:40])


@dataclass(frozen=True)
class AheadRow:
    """One expected move and the cash after it."""

    move: Planned
    after: Money


@dataclass(frozen=True)
class CashAhead:
    """The cash to come.

    Parameters
    ----------
    today
        Day of the opening.
    opening
        Booked money at hand.
    rows
        Moves by day, with the cash after each.
    lowest
        Lowest cash, the opening included.
    lowest_on
        Its day; None when today is the lowest.
    """

    today: datetime.date
    opening: Money
    rows: tuple[AheadRow, ...]
    lowest: Money
    lowest_on: datetime.date | None


def cash_ahead(opening: Money, moves: Sequence[Planned], today: datetime.date) -> CashAhead:
    """Lay expected moves behind the money at hand.

    Within a day money goes out before it comes in, so that the lowest point is never too high. What
    was expected before today and is not booked yet counts today.

    Parameters
    ----------
    opening
        Booked money at hand.
    moves
        Expected moves in one currency, any order.
    today
        The day.

    Returns
    -------
    CashAhead
        The run of cash and its lowest point.

    Raises
    ------
    BadEntry
        If a move is in another currency than the opening.
    """
    for move in moves:
        if move.amount.currency != opening.currency:
            raise BadEntry(
                f"{move.amount.text()} cannot be counted with cash in {opening.currency}. Exchange it first.",
                field="amount",
                value=move.amount.text(),
                allowed=opening.currency,
            )
    late = [CashMove(max(move.day, today), move.amount) for move in moves]
    order = sorted(range(len(moves)), key=lambda i: (late[i].day, late[i].amount.minor > 0, i))
    cash, rows = opening, []
    for i in order:
        cash += moves[i].amount
        rows.append(AheadRow(moves[i], cash))
    when, low = lowest_cash(opening, [late[i] for i in order])
    return CashAhead(today, opening, tuple(rows), low, when)
