"""The car to value, and what its value is made known as: interval, pulls, effects, cautions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any, Literal

from driveout.errors import BadEntry
from driveout.market.comparables import MOST_AGE_YEARS, MOST_KM, TitleStatus, age_of_year
from driveout.market.prior import condition_steps
from driveout.units import Money

Z80 = 1.2815515655446004  # 90 % point of the normal law
RefersTo = Literal["average", "sound"]
REFERS_TO_WORDS: dict[str, str] = {
    "average": "The value is that of a car as the comparables mostly are: buyers already count on the faults "
    "usual at that age.",
    "sound": "The value is that of a car better than the comparables mostly are: what was said of its condition "
    "has to hold when a buyer looks.",
}


@dataclass(frozen=True, slots=True)
class CarToValue:
    """The car whose value is asked.

    Attributes
    ----------
    on
        Day the value is for.
    mileage_km
        Distance on the clock. [km]
    made_year, age_years
        One of them.
    condition
        ``poor``, ``fair``, ``good``, ``very good``; empty when not said.
    title_status
        ``clean``, ``rebuilt``, ``salvage``, ``buyback``.
    options
        Words for equipment.
    specs
        Further numbers by name; only those that comparables give too are used.
    name
        For messages.
    """

    on: date
    mileage_km: float
    made_year: int | None = None
    age_years: float | None = None
    condition: str = ""
    title_status: TitleStatus = "clean"
    options: tuple[str, ...] = ()
    specs: Mapping[str, float] = field(default_factory=dict)
    name: str = "this car"

    def __post_init__(self) -> None:
        if not 0 <= self.mileage_km <= MOST_KM:
            raise BadEntry(
                f"The distance {self.mileage_km:,.0f} km is outside 0 to {MOST_KM:,} km.",
                field="mileage_km",
                value=self.mileage_km,
                allowed=f"0 to {MOST_KM:,} km",
            )
        if self.made_year is None and self.age_years is None:
            raise BadEntry(
                "Neither year nor age of the car is given. One of them is needed.",
                field="made_year",
                allowed="a year such as 2013, or an age in years",
            )
        if self.made_year is not None and not 1886 <= self.made_year <= self.on.year + 1:
            raise BadEntry(
                f"The year {self.made_year} is outside 1886 to {self.on.year + 1}.",
                field="made_year",
                value=self.made_year,
                allowed=f"1886 to {self.on.year + 1}",
            )
        if not 0 <= self.age <= MOST_AGE_YEARS:
            raise BadEntry(
                f"The age {self.age:g} years is outside 0 to {MOST_AGE_YEARS}.",
                field="age_years",
                value=self.age,
                allowed=f"0 to {MOST_AGE_YEARS} years",
            )

    @property
    def age(self) -> float:
        """Age in years on the day asked for."""
        return self.age_years if self.age_years is not None else age_of_year(self.made_year or 0, self.on)


@dataclass(frozen=True, slots=True)
class Pull:
    """What one comparable does to the value.

    Attributes
    ----------
    label, price
        Which comparable.
    fits_at
        What the others say a car like it costs, at its own kind of price.
    moves
        Value with it less value without it.
    weight
        1 for a car on the line, towards 0 for one far off.
    reason
        Why it counts little; empty when it counts in full.
    origin
        ``file:line`` of it.
    mileage_km
        Its distance; None when not said. [km]
    is_sold
        Whether the price was paid.
    """

    label: str
    price: Money
    fits_at: Money
    moves: Money
    weight: float
    reason: str
    origin: str
    mileage_km: float | None = None
    is_sold: bool = False

    @property
    def is_outlier(self) -> bool:
        """Whether it was given little weight."""
        return bool(self.reason)


@dataclass(frozen=True, slots=True)
class Effect:
    """How one thing moves the price, with its 80 % interval, as a share of the price."""

    name: str
    per: str
    share: float
    low: float
    high: float
    learned: float

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return asdict(self)


@dataclass(frozen=True)
class Appraisal:
    """Value of a car with its 80 % interval and how it came about.

    Attributes
    ----------
    value, low, high
        Price it is likely to change hands at: middle, and the interval that holds 8 of 10.
    asked, asked_low, asked_high
        The same for the price in the advert.
    log_mean, log_sd
        Normal law of the natural logarithm of the price that gives the same interval.
    level_sd
        Doubt of what buyers in general would pay for this car, as a standard deviation of the
        logarithm: the line's own doubt and half of the scatter between prices (the other half
        is taken to be the luck of single sellers; common practice, no source).
    used
        How many comparables were used.
    pulls
        One per used comparable, the strongest first.
    effects
        What age, distance and the rest do.
    warnings
        Sentences to read before trusting the number.
    out_of_range
        Whether the car lies outside what the comparables cover.
    own_models
        Models of the person's own that the starting slopes learnt from, besides the six shipped.
    refers_to
        ``average``: a car as comparables mostly are, whose price already carries the expected cost
        of the faults usual at that age; ``sound``: one better than that, as far as was said of it.
    """

    name: str
    value: Money
    low: Money
    high: Money
    asked: Money
    asked_low: Money
    asked_high: Money
    log_mean: float
    log_sd: float
    level_sd: float
    used: int
    pulls: tuple[Pull, ...]
    effects: tuple[Effect, ...]
    warnings: tuple[str, ...]
    out_of_range: bool
    refers_to: RefersTo = "average"
    own_models: int = 0

    @property
    def condition_step(self) -> tuple[float, float] | None:
        """Log price of one step of condition and its spread; None when no car stated one."""
        return step_of([e.as_dict() for e in self.effects])

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON; money as text of major units."""
        return {
            "schema": "driveout-appraisal/1",
            "name": self.name,
            "currency": self.value.currency,
            **{
                k: str(getattr(self, k).major)
                for k in ("value", "low", "high", "asked", "asked_low", "asked_high")
            },
            "log_mean": self.log_mean,
            "log_sd": self.log_sd,
            "level_sd": self.level_sd,
            "used": self.used,
            "refers_to": self.refers_to,
            "own_models": self.own_models,
            "out_of_range": self.out_of_range,
            "warnings": list(self.warnings),
            "effects": [e.as_dict() for e in self.effects],
            "pulls": [
                {
                    "label": p.label,
                    "price": str(p.price.major),
                    "fits_at": str(p.fits_at.major),
                    "moves": str(p.moves.major),
                    "weight": p.weight,
                    "reason": p.reason,
                    "origin": p.origin,
                    "mileage_km": p.mileage_km,
                    "is_sold": p.is_sold,
                }
                for p in self.pulls
            ],
        }

    def sentences(self) -> list[str]:
        """The result in words."""
        return [
            f"Likely to sell at {self.value.text()}; 8 of 10 such cars between {self.low.text()} and {self.high.text()}.",
            REFERS_TO_WORDS[self.refers_to],
            f"Adverts for such a car ask about {self.asked.text()}.",
            f"From {self.used} comparable{'' if self.used == 1 else 's'}.",
            *self.warnings,
        ]


def refers_to(condition: str) -> RefersTo:
    """Whether a value made for a car in this condition is that of an average or of a sound car.

    Adverts seldom say what is wrong, so prices of comparables carry the expected cost of the faults
    usual at that age; only a condition above ordinary lifts the value past that.

    Parameters
    ----------
    condition
        Word for the condition; empty when not said.

    Returns
    -------
    RefersTo
        ``sound`` for a condition above ordinary, else ``average``.

    References
    ----------
    own-reasoning, docs/method/value.md, what the value refers to.
    """
    return "sound" if condition_steps().get(condition.casefold(), 0) > 0 else "average"


def step_of(effects: Sequence[Mapping[str, Any]]) -> tuple[float, float] | None:
    """Log price of one step of condition and its spread, from the effects as plain data."""
    effect = next((e for e in effects if e["name"] == "condition"), None)
    if effect is None:
        return None
    spread = (math.log1p(effect["high"]) - math.log1p(effect["low"])) / (2 * Z80)
    return math.log1p(effect["share"]), spread
