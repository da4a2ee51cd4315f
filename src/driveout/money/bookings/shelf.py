"""What the garage owns for all cars: supplies on the shelf, tools, own money put in."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from decimal import Decimal

from driveout.errors import BadEntry
from driveout.money.bookings.accounts import BANK, SUPPLIES, TOOLS, above_zero, car_links, moved, said, wip
from driveout.money.journal import MEMO_ROOT, USES, Entry, Posting
from driveout.units import Money


def supplies_bought(amount: Money, what: str, day: datetime.date, quantity: Decimal, unit: str) -> Entry:
    """Buy shared supplies; they wait on the shelf until issued to a car."""
    above_zero(amount, "amount", "The amount")
    if quantity <= 0:
        raise BadEntry(
            f"The quantity is {quantity}; it must be above 0.", field="quantity", value=str(quantity)
        )
    return Entry(
        day, what, moved(BANK, SUPPLIES, amount), ("supplies",), said(quantity=str(quantity), unit=unit)
    )


def shares(worth: Money, on_hand: Decimal, taken: Mapping[str, Decimal]) -> dict[str, Money]:
    """What each car's share of a supply is worth; the cents add up (largest remainder).

    Parameters
    ----------
    worth
        Book worth of what is on the shelf.
    on_hand
        Quantity on the shelf, above 0.
    taken
        Quantity by car, each above 0.

    Returns
    -------
    dict
        Money by car; what is not taken keeps the rest of the worth.

    Raises
    ------
    BadEntry
        If more is taken than is there, or a quantity is not above 0.
    """
    rest = on_hand - sum(taken.values(), Decimal(0))
    if not taken or min(taken.values()) <= 0 or rest < 0:
        raise BadEntry(
            f"Taken {sum(taken.values(), Decimal(0))} of {on_hand} on the shelf. "
            "Each share must be above 0 and all together at most what is there.",
            field="quantity",
            value=str(sum(taken.values(), Decimal(0))),
            allowed=f"above 0, at most {on_hand}",
        )
    places = max(-int(quantity.as_tuple().exponent) for quantity in (rest, *taken.values()))
    weights = [int(quantity.scaleb(max(places, 0))) for quantity in (*taken.values(), rest)]
    parts = worth.split(weights)
    return dict(zip(taken, parts[:-1], strict=True))


def supplies_issued(
    of: Entry, worth: Money, on_hand: Decimal, taken: Mapping[str, Decimal], day: datetime.date
) -> Entry:
    """Issue supplies from the shelf to cars, by measured quantity."""
    parts = shares(worth, on_hand, taken)
    total = sum(part.minor for part in parts.values())
    postings = [Posting(wip(car, "supplies"), part.minor, part.currency) for car, part in parts.items()]
    return Entry(
        day,
        f"Used: {of.narration}"[:400],
        (*postings, Posting(SUPPLIES, -total, worth.currency)),
        (*(car.lower() for car in taken), f"issue-of-{of.number}"),
        said(kind="supplies", quantity=str(sum(taken.values(), Decimal(0)))),
    )


def tool_bought(amount: Money, what: str, day: datetime.date, *, uses: int = 0) -> Entry:
    """Buy a tool: an asset of the garage, never a cost of one car.

    ``uses`` is how often it will probably be used in its life; 0 when nobody can say.
    """
    if not 0 <= uses <= 100_000:
        raise BadEntry(
            f"{uses} uses in the life of a tool is outside 0 to 100,000.",
            field="uses",
            value=uses,
            allowed="0 to 100,000",
        )
    postings = moved(BANK, TOOLS, above_zero(amount, "amount", "The amount"))
    return Entry(day, what, postings, ("tools",), said(uses=str(uses) if uses else ""))


def tool_used(car: str, tool: Entry, times: int, day: datetime.date) -> Entry:
    """Record that a tool was used on a car: a memo without money, so no car is charged for it."""
    if not 0 < times <= 1000:
        raise BadEntry(
            f"A tool used {times} times at once is outside 1 to 1000.",
            field="times",
            value=times,
            allowed="1 to 1000",
        )
    return Entry(
        day,
        f"Used the tool: {tool.narration}"[:400],
        (Posting(f"{MEMO_ROOT}:Tools:{car}", times, USES), Posting(f"{MEMO_ROOT}:Tools:Given", -times, USES)),
        car_links(car, f"tool-{tool.number}"),
        said(kind="tool"),
    )


def tool_worn(amount: Money, what: str, day: datetime.date) -> Entry:
    """Write part of the tools off as an expense of the garage."""
    above_zero(amount, "amount", "The amount")
    return Entry(day, what, moved("Assets:Tools:WrittenOff", "Expenses:Depreciation", amount), ("tools",))


def own_money_in(amount: Money, day: datetime.date, what: str = "Own money put in") -> Entry:
    """Put own money into the project's bank account."""
    return Entry(day, what, moved("Equity:Owner", BANK, above_zero(amount, "amount", "The amount")))
