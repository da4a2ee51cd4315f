"""What was forecast of a sale when it was advertised, days and price, against what came.

The forecast is frozen with the first price put in the advert; nothing learned later mends it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from driveout.errors import BadEntry
from driveout.units import Money

# Of so many sales fewer tell nothing about a forecast: the same bound as for hours and cost.
LEAST_SALES = 20


@dataclass(frozen=True)
class SaleForecast:
    """Days to the sale and price, as laws.

    Attributes
    ----------
    sold_by
        (day, chance to be sold by then), from (0, 0) upward; what is left at the end is unsold.
    prices
        (price, chance) while the plan is followed; the last is the fallback of what is left unsold.
    """

    sold_by: tuple[tuple[float, float], ...]
    prices: tuple[tuple[Money, float], ...]

    def __post_init__(self) -> None:
        days = [day for day, _ in self.sold_by]
        chances = [chance for _, chance in self.sold_by]
        if len(days) < 2 or days != sorted(days) or chances != sorted(chances) or not 0 <= chances[-1] <= 1:
            raise BadEntry("A law of days rises from day 0 to at most 1.", field="sold_by")
        if not self.prices or abs(sum(chance for _, chance in self.prices) - 1) > 1e-6:
            raise BadEntry("The chances of the prices must add up to 1.", field="prices")

    @property
    def expected_price(self) -> Money:
        """Mean of the price, the fallback of what is left unsold counted."""
        first = self.prices[0][0]
        return Money(round(sum(price.minor * chance for price, chance in self.prices)), first.currency)

    @property
    def median_days(self) -> float | None:
        """Day by which it is sold with even odds; None beyond the deadline."""
        before = self.sold_by[0]
        for day, chance in self.sold_by[1:]:
            if chance >= 0.5:
                return before[0] + (0.5 - before[1]) / max(chance - before[1], 1e-12) * (day - before[0])
            before = (day, chance)
        return None

    def chance_by(self, day: float) -> float:
        """Forecast chance to be sold by a day."""
        before = self.sold_by[0]
        for at, chance in self.sold_by[1:]:
            if day <= at:
                return before[1] + (chance - before[1]) * (day - before[0]) / max(at - before[0], 1e-12)
            before = (at, chance)
        return self.sold_by[-1][1]

    def as_dict(self) -> dict[str, Any]:
        """Plain data for the trail; money as minor units."""
        return {
            "currency": self.prices[0][0].currency,
            "sold_by": [[day, round(chance, 6)] for day, chance in self.sold_by],
            "prices": [[price.minor, round(chance, 9)] for price, chance in self.prices],
        }


def forecast_from(data: Mapping[str, Any]) -> SaleForecast:
    """The forecast as it was frozen in the trail."""
    currency = str(data["currency"])
    return SaleForecast(
        tuple((float(day), float(chance)) for day, chance in data["sold_by"]),
        tuple((Money(int(minor), currency), float(chance)) for minor, chance in data["prices"]),
    )


@dataclass(frozen=True)
class SaleLesson:
    """One sold car against its forecast.

    Attributes
    ----------
    days, median_days
        Days from the first advert to the sale, and the forecast median (None beyond the deadline).
    rank
        Forecast chance to be sold by the day it was sold: over many cars spread evenly from 0 to 1 when
        the forecasts are right; near 0 sold sooner, near 1 later than forecast.
    price, expected_price
        Price paid, and its forecast mean.
    log_error
        Logarithm of price over forecast: +0.05 means about 5 % more than forecast.
    sooner_or_later
        In words.
    """

    days: float
    median_days: float | None
    rank: float
    price: Money
    expected_price: Money
    log_error: float
    sooner_or_later: str


def sale_lesson(forecast: SaleForecast, days: float, price: Money) -> SaleLesson:
    """Lay a finished sale beside what was forecast.

    Parameters
    ----------
    forecast
        Frozen when the car was first advertised.
    days
        Days from the first advert to the sale, 0 or more.
    price
        Price paid, above 0, in the currency of the forecast.

    Returns
    -------
    SaleLesson
        Both errors and the rank of the day.

    Raises
    ------
    BadEntry
        If the days are below 0, the price is not above 0, or the currencies differ.

    References
    ----------
    own-reasoning, docs/method/asking.md, own sales.
    """
    if days < 0:
        raise BadEntry(f"{days:g} days is before the advert.", field="days", value=days, allowed="0 or more")
    expected = forecast.expected_price
    if price.minor <= 0 or price.currency != expected.currency:
        raise BadEntry(
            f"The price {price.text()} cannot be laid beside {expected.text()}.",
            field="price",
            value=price.text(),
            allowed=f"above 0, in {expected.currency}",
        )
    rank = forecast.chance_by(days)
    middle = forecast.median_days
    words = (
        "sooner than nine of ten forecasts"
        if rank < 0.1
        else "later than nine of ten forecasts"
        if rank > 0.9
        else "within what was forecast"
    )
    error = math.log(price.minor / expected.minor) if expected.minor > 0 else 0.0
    return SaleLesson(days, middle, rank, price, expected, error, words)


@dataclass(frozen=True)
class SaleErrors:
    """Errors of many sales together.

    Attributes
    ----------
    sales
        How many.
    price_off
        Mean error of the price as a share: -0.04 means 4 % less than forecast on average.
    price_scatter
        Standard deviation of the logarithm of price over forecast.
    sooner, later
        Share sold sooner (later) than nine of ten forecasts; 0.1 each when forecasts are right.
    enough
        Whether there are enough sales to say anything.
    """

    sales: int
    price_off: float
    price_scatter: float
    sooner: float
    later: float
    enough: bool


def sale_errors(lessons: Sequence[SaleLesson]) -> SaleErrors:
    """Sum up the errors of sold cars; BadEntry when there is none."""
    if not lessons:
        raise BadEntry("No sold car has a forecast yet.", field="lessons")
    n = len(lessons)
    logs = [one.log_error for one in lessons]
    mean = sum(logs) / n
    scatter = math.sqrt(sum((x - mean) ** 2 for x in logs) / (n - 1)) if n > 1 else 0.0
    return SaleErrors(
        n,
        math.expm1(mean),
        scatter,
        sum(one.rank < 0.1 for one in lessons) / n,
        sum(one.rank > 0.9 for one in lessons) / n,
        n >= LEAST_SALES,
    )
