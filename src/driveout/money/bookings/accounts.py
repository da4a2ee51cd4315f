"""Accounts of the books: what each holds, and the names of a car in links and facts."""

from __future__ import annotations

from driveout.errors import BadEntry
from driveout.money.journal import Posting
from driveout.units import Money

BANK = "Assets:Bank"


SUPPLIES = "Assets:Supplies"


TOOLS = "Assets:Tools:Bought"


# Kind of cost on a car -> last part of its work-in-progress account.
COST_KINDS = {
    "purchase": "Purchase",
    "parts": "Parts",
    "outside": "Outside",
    "fees": "Fees",
    "travel": "Travel",
    "supplies": "Supplies",
}


KIND_NAMES = {
    "purchase": "Purchase",
    "parts": "Parts",
    "outside": "Outside work",
    "fees": "Fees",
    "travel": "Travel",
    "supplies": "Supplies used",
}


def car_part(car_id: int) -> str:
    """The car's part of an account path: ``Car-7``."""
    return f"Car-{car_id}"


def wip(car: str, kind: str) -> str:
    """Work-in-progress account of one kind of cost of one car."""
    if kind not in COST_KINDS:
        raise BadEntry(
            f"{kind!r} is not a kind of cost. Choose one of {', '.join(COST_KINDS)}.",
            field="kind",
            value=kind,
            allowed=", ".join(COST_KINDS),
        )
    return f"Assets:WIP:{car}:{COST_KINDS[kind]}"


def cores(car: str) -> str:
    """Account of the core deposits still owed to the person for one car."""
    return f"Assets:CoreDeposits:{car}"


def cost_account(car: str, kind: str, sold: bool) -> str:
    """Where a cost of the car goes: work in progress, or an expense once the car is sold."""
    return f"Expenses:AfterSale:{car}" if sold else wip(car, kind)


def above_zero(amount: Money, field: str, what: str) -> Money:
    """The amount, when it is above 0; else BadEntry naming the field."""
    if amount.minor <= 0:
        raise BadEntry(
            f"{what} is {amount.text()}; it must be above 0. To take something back use reversal or a refund.",
            field=field,
            value=amount.text(),
            allowed="above 0",
        )
    return amount


def car_links(car: str, *more: str) -> tuple[str, ...]:
    """Links of an entry that belongs to the car; empty ones are left out."""
    return (car.lower(), *(link for link in more if link))


def said(**facts: str) -> tuple[tuple[str, str], ...]:
    """Facts of an entry; those that were not said are left out."""
    return tuple((name, text) for name, text in facts.items() if text)


def moved(source: str, target: str, amount: Money) -> tuple[Posting, ...]:
    """Two postings that move an amount from one account to another."""
    return (Posting(target, amount.minor, amount.currency), Posting(source, -amount.minor, amount.currency))
