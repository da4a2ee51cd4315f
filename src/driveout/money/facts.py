"""Dated facts with their sources: mileage rates, margin-scheme arithmetic. Never advice."""

from __future__ import annotations

import datetime
import tomllib
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cache
from typing import Any

from driveout.errors import BadEntry, CannotSay
from driveout.files import shipped
from driveout.units import Money


@cache
def _facts() -> dict[str, Any]:
    return tomllib.loads(shipped("driveout.money", "data/facts.toml").decode())


@dataclass(frozen=True)
class MileageRate:
    """A published allowance for the use of one's own vehicle, in major money per mile."""

    per_mile: Decimal
    place: str
    source: str


def mileage_rate(day: datetime.date, place: str = "US") -> MileageRate:
    """Standard mileage rate in force on a day.

    Parameters
    ----------
    day
        Day of the trip.
    place
        Whose rate; only ``US`` is on file.

    Returns
    -------
    MileageRate
        With its source.

    Raises
    ------
    CannotSay
        If no rate for that day and place is on file; none is guessed from another year.

    References
    ----------
    irs-standard-mileage.
    """
    for row in _facts()["mileage"]:
        if row["place"] == place and row["first"] <= day <= row["last"]:
            return MileageRate(Decimal(row["per_mile"]), place, row["source"])
    raise CannotSay(
        f"No mileage rate for {place} on {day} is on file. Type your own rate.",
        missing=f"mileage rate {day.year}",
    )


def margin_scheme_tax(bought: Money, sold: Money, rate: Decimal) -> Money:
    """Value added tax contained in the margin of a second-hand car.

    ``(sold - bought) x rate / (1 + rate)``, nothing when sold for less. Repairs do not raise the purchase price.

    Parameters
    ----------
    bought
        Purchase price.
    sold
        Selling price.
    rate
        Tax rate as a fraction, 0.20 for 20 %.

    Returns
    -------
    Money
        Tax in the margin.

    Raises
    ------
    BadEntry
        If the rate is outside 0 to 1.

    References
    ----------
    vat-margin-scheme.
    """
    if not 0 <= rate <= 1:
        raise BadEntry(
            f"Tax rate {rate} is outside 0 to 1. Write 0.20 for 20 %.",
            field="rate",
            value=str(rate),
            allowed="0 to 1",
        )
    margin = sold - bought
    if margin.minor <= 0:
        return Money(0, sold.currency)
    tax = (margin.minor * rate / (1 + rate)).to_integral_value(ROUND_HALF_EVEN)
    return Money(int(tax), sold.currency)
