"""One similar car seen for sale, and what makes it possible."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from typing import Literal

from driveout.errors import BadEntry, BadRows
from driveout.units import Money

Kind = Literal["asking", "sold"]
TitleStatus = Literal["clean", "rebuilt", "salvage", "buyback"]
MOST_KM = 2_000_000
MOST_AGE_YEARS = 130


@dataclass(frozen=True, slots=True)
class Comparable:
    """One similar car and what it was asked for or sold at.

    Attributes
    ----------
    price
        Price asked or paid.
    mileage_km
        Distance on the clock; None when the advert does not say. [km]
    made_year, age_years
        Model year, or the age when seen; at least one of them. [years]
    kind
        ``asking`` or ``sold``.
    listed, seen, last_seen, gone
        Day the advert appeared (when known), was first seen, was last seen standing, was first
        found to be gone.
    condition
        Words on its condition.
    title_status
        ``clean``, ``rebuilt``, ``salvage`` or ``buyback``.
    options
        Words for equipment, lower case.
    specs
        Further numbers by name (power, doors) that may move the price.
    place, name
        Where it stands and what the person calls it.
    origin
        ``file:line`` when it came from a file.
    """

    price: Money
    mileage_km: float | None = None
    made_year: int | None = None
    age_years: float | None = None
    kind: Kind = "asking"
    listed: date | None = None
    seen: date | None = None
    last_seen: date | None = None
    gone: date | None = None
    condition: str = ""
    title_status: TitleStatus = "clean"
    options: tuple[str, ...] = ()
    specs: Mapping[str, float] = field(default_factory=dict)
    place: str = ""
    name: str = ""
    origin: str = ""

    def __post_init__(self) -> None:
        wrong = list(_limits(self))
        if len(wrong) == 1:
            raise wrong[0]
        if wrong:
            raise BadRows(wrong)

    def age_on(self, day: date) -> float:
        """Age when it was seen (else on ``day``), in years; a model year counts from its middle."""
        if self.age_years is not None:
            return self.age_years
        return age_of_year(self.made_year or day.year, self.seen or day)

    @property
    def label(self) -> str:
        """Name for a person: the given one, else year, distance and price."""
        if self.name:
            return self.name
        age = str(self.made_year) if self.made_year else f"{self.age_years:.1f} years"
        km = "distance unknown" if self.mileage_km is None else f"{self.mileage_km:,.0f} km"
        return f"{age}, {km}, {self.price.text()}"


def age_of_year(made_year: int, day: date) -> float:
    """Age in years of a car of a model year on a day, counted from the middle of that year, not below 0."""
    return max(day.year + (day.timetuple().tm_yday - 1) / 365.25 - made_year - 0.5, 0.0)


def _limits(car: Comparable) -> list[BadEntry]:
    wrong = []
    if car.price.minor <= 0:
        wrong.append(
            BadEntry(
                f"The price {car.price.text()} is not above 0. Type the price that was asked or paid.",
                field="price",
                value=car.price.text(),
                allowed="above 0",
            )
        )
    if car.made_year is None and car.age_years is None:
        wrong.append(
            BadEntry(
                "Neither year nor age is given. One of them is needed to compare.",
                field="made_year",
                allowed="a year such as 2013, or an age in years",
            )
        )
    if car.made_year is not None and not 1886 <= car.made_year <= 9999:
        wrong.append(
            BadEntry(
                f"The year {car.made_year} is before the first car.",
                field="made_year",
                value=car.made_year,
                allowed="1886 or later",
            )
        )
    if car.age_years is not None and not 0 <= car.age_years <= MOST_AGE_YEARS:
        wrong.append(
            BadEntry(
                f"The age {car.age_years:g} years is outside 0 to {MOST_AGE_YEARS}. Give it in years.",
                field="age_years",
                value=car.age_years,
                allowed=f"0 to {MOST_AGE_YEARS} years",
            )
        )
    if car.mileage_km is not None and not 0 <= car.mileage_km <= MOST_KM:
        wrong.append(
            BadEntry(
                f"The distance {car.mileage_km:,.0f} km is outside 0 to {MOST_KM:,} km. Read the advert again.",
                field="mileage_km",
                value=car.mileage_km,
                allowed=f"0 to {MOST_KM:,} km",
            )
        )
    days = [
        (name, day)
        for name, day in (
            ("listed", car.listed),
            ("seen", car.seen),
            ("last seen", car.last_seen),
            ("gone", car.gone),
        )
        if day is not None
    ]
    for (early_name, early), (late_name, late) in pairwise(days):
        if late < early:
            wrong.append(
                BadEntry(
                    f"The day {late_name} ({late.isoformat()}) is before the day {early_name} ({early.isoformat()}). "
                    "Correct one of them.",
                    field=late_name.replace(" ", "_"),
                    value=late.isoformat(),
                )
            )
    return wrong
