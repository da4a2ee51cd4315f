"""A reading as entered, the car it belongs to, and all that a verdict on it is given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from driveout.errors import BadEntry
from driveout.units import Money, money_from_text
from driveout.wear.limits import Limit
from driveout.wear.verdict import FAILS, HOLDS, Finding, Verdict


@dataclass(frozen=True)
class Reading:
    """What was entered at one spot on one day.

    Parameters
    ----------
    topic, spot
        Where it belongs.
    entries
        As typed, by field.
    day
        When.
    km
        Odometer then, if known. [km]
    """

    topic: str
    spot: str
    entries: dict[str, str]
    day: date
    km: float | None = None


@dataclass(frozen=True)
class CarFacts:
    """What the verdicts need to know of the car besides its readings."""

    on: date
    mileage_km: float | None = None
    made_year: int | None = None
    currency: str = "USD"
    vin: str = ""


@dataclass(frozen=True)
class Given:
    """What every verdict on a car may lean on.

    Parameters
    ----------
    facts
        The car.
    setup
        Where it is used and what the maker asks for, by field.
    limits
        The maker's and the shipped limits.
    history
        Every reading of the car, oldest first.
    passes
        The person's own sanding and polishing on all cars, oldest first.
    """

    facts: CarFacts
    setup: dict[str, Any]
    limits: Sequence[Limit]
    history: Sequence[Reading]
    passes: Sequence[Reading] = field(default=())

    @property
    def place(self) -> str:
        """Code of the place whose rules apply; empty when not said."""
        return str(self.setup.get("place", ""))


def amount(given: Given, got: dict[str, Any], name: str) -> Money:
    """Amount typed in a field; 0 when left empty."""
    if name not in got:
        return Money(0, given.facts.currency)
    try:
        amount = money_from_text(str(got[name]), given.facts.currency)
    except BadEntry as error:
        raise BadEntry(error.message, field=name, value=error.value, allowed=error.allowed) from error
    if amount.currency != given.facts.currency or amount.minor < 0:
        raise BadEntry(
            f"{amount.text()} is not an amount of 0 or more in {given.facts.currency}.",
            field=name,
            value=got[name],
            allowed=given.facts.currency,
        )
    return amount


def seen(got: dict[str, Any], name: str, check: str, what: str) -> list[Verdict]:
    """Verdict of a yes-or-no look that answers one check; none when it was not looked at."""
    if name not in got:
        return []
    bad = got[name] == "yes"
    return [
        Verdict(
            what,
            FAILS if bad else HOLDS,
            words=f"{what}: {got[name]}.",
            findings=(Finding(check, bad, what if bad else f"no {what.lower()}"),),
        )
    ]
