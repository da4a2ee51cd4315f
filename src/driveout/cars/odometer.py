"""The odometer through the years: falls, gaps, implied use, and the step that buyers see."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

from driveout.errors import BadEntry
from driveout.units import FACTORS

_MILE = FACTORS["km per mile"]
# A gap longer than this, or a use beyond these, is asked about (common practice, no source).
LONG_GAP_YEARS = 3.0
ORDINARY_KM_A_YEAR = (8_000.0, 25_000.0)
GREATEST_KM_A_YEAR = 120_000.0
# Among at least that many others, a use at the outer twentieth is asked about (our choice).
UNUSUAL_SHARE, LEAST_OTHERS = 0.05, 5


@dataclass(frozen=True)
class OdometerReading:
    """One dated value.

    Parameters
    ----------
    day
        When it was read.
    km
        Value. [km]
    origin
        Inspection, receipt, sticker, advert, seen.
    """

    day: date
    km: float
    origin: str = ""


@dataclass(frozen=True)
class Interval:
    """Between two readings: years, distance, and use per year. [km]."""

    start: OdometerReading
    end: OdometerReading
    years: float
    km: float

    @property
    def km_a_year(self) -> float:
        """Use per year; over less than a week it is not told. [km]."""
        return self.km / self.years if self.years > 0.02 else 0.0


@dataclass(frozen=True)
class OdometerSeries:
    """What a series of readings says.

    Parameters
    ----------
    intervals
        Between neighbours in time.
    falls
        Intervals in which it went down.
    gaps
        Intervals longer than three years.
    heavy
        Intervals with a use that is hardly possible.
    km_a_year
        Use from first to last reading; None with one reading. [km]
    doubtful
        Whether it speaks for a false odometer.
    lines
        What to ask, in words.
    """

    intervals: tuple[Interval, ...]
    falls: tuple[Interval, ...]
    gaps: tuple[Interval, ...]
    heavy: tuple[Interval, ...]
    km_a_year: float | None
    doubtful: bool
    lines: tuple[str, ...]


def odometer_series(readings: Sequence[OdometerReading], on: date) -> OdometerSeries:
    """Look through dated odometer values.

    Parameters
    ----------
    readings
        In any order.
    on
        Present day; a reading in the future is refused.

    Returns
    -------
    OdometerSeries
        Falls, gaps, use per year, and what to ask.

    Raises
    ------
    BadEntry
        If a reading lies in the future or is negative.

    References
    ----------
    common-practice, gaps over three years and falls are asked about.
    """
    for reading in readings:
        if reading.day > on:
            raise BadEntry(
                f"The reading of {reading.day} is in the future.",
                field="day",
                value=str(reading.day),
                allowed=f"until {on}",
            )
        if not 0 <= reading.km <= 3_000_000:
            raise BadEntry(
                f"{reading.km:,.0f} km is no odometer.",
                field="km",
                value=reading.km,
                allowed="0 to 3,000,000 km",
            )
    ordered = sorted(readings, key=lambda reading: (reading.day, reading.km))
    intervals = tuple(
        Interval(a, b, (b.day - a.day).days / 365.25, b.km - a.km) for a, b in itertools.pairwise(ordered)
    )
    falls = tuple(i for i in intervals if i.km < 0)
    # A week's grace: yearly inspections are never on the very day.
    gaps = tuple(i for i in intervals if i.years > LONG_GAP_YEARS + 0.02)
    heavy = tuple(i for i in intervals if i.km_a_year > GREATEST_KM_A_YEAR)
    whole = (
        Interval(
            ordered[0],
            ordered[-1],
            (ordered[-1].day - ordered[0].day).days / 365.25,
            ordered[-1].km - ordered[0].km,
        )
        if ordered
        else None
    )
    rate = whole.km_a_year if whole is not None and whole.years > 0.5 and not falls else None
    lines = [_fall_words(i) for i in falls]
    lines += [
        f"No reading for {i.years:.1f} years from {i.start.day}: ask for receipts of that time." for i in gaps
    ]
    lines += [f"{i.km:,.0f} km between {i.start.day} and {i.end.day} is hardly possible." for i in heavy]
    if rate is not None and not ORDINARY_KM_A_YEAR[0] <= rate <= ORDINARY_KM_A_YEAR[1]:
        word = "little" if rate < ORDINARY_KM_A_YEAR[0] else "much"
        lines.append(f"{rate:,.0f} km a year is {word} for a private car (common practice, no source).")
    return OdometerSeries(intervals, falls, gaps, heavy, rate, bool(falls or gaps or heavy), tuple(lines))


def _fall_words(fall: Interval) -> str:
    text = (
        f"It fell from {fall.start.km:,.0f} km ({fall.start.day}) to {fall.end.km:,.0f} km ({fall.end.day})."
    )
    ratio = fall.end.km / fall.start.km if fall.start.km else 0.0
    if abs(ratio * _MILE - 1.0) < 0.12:
        return text + " Could the later one be miles written as kilometres?"
    for turn in (100_000.0, 100_000.0 * _MILE):
        if 0 < fall.km + turn < 60_000:
            return text + " Could a five-figure odometer have turned over?"
    return text + " Ask; a lower later reading must be explained in writing, or walk away."


def against_others(km: float, age_years: float, others_km: Sequence[tuple[float, float]]) -> float:
    """Share of other cars that were driven less per year than this one.

    Parameters
    ----------
    km
        This car. [km]
    age_years
        See `km`.
    others_km
        Distance and age of each other car.

    Returns
    -------
    float
        Between 0 and 1.

    Raises
    ------
    BadEntry
        If an age is not above 0 or there is no other car.
    """
    if age_years <= 0 or not others_km or any(age <= 0 for _, age in others_km):
        raise BadEntry("Ages must be above 0, and there must be other cars to compare with.", field="age")
    rates = [other / age for other, age in others_km]
    return sum(rate < km / age_years for rate in rates) / len(rates)


@dataclass(frozen=True)
class UseAgainstOthers:
    """Yearly use implied by odometer and age, beside that of other cars.

    Parameters
    ----------
    km_a_year
        This car. [km]
    others_km_a_year
        Middle one of the others. [km]
    share_below
        Share of the others driven less a year, 0 to 1.
    others
        How many others.
    words
        What to make of it, in a sentence.
    """

    km_a_year: float
    others_km_a_year: float
    share_below: float
    others: int
    words: str


def use_against_others(
    km: float, age_years: float, others_km: Sequence[tuple[float, float]]
) -> UseAgainstOthers:
    """Compare the yearly use that an odometer implies with that of other cars.

    Parameters
    ----------
    km
        This car. [km]
    age_years
        See `km`.
    others_km
        Distance and age of each other car.

    Returns
    -------
    UseAgainstOthers
        Both rates, the share driven less, and a sentence.

    Raises
    ------
    BadEntry
        If an age is not above 0 or there is no other car.

    References
    ----------
    own-reasoning, docs/method/papers.md.

    Examples
    --------
    >>> use_against_others(60_000, 10, [(100_000, 10), (150_000, 10), (120_000, 8)]).km_a_year
    6000.0
    """
    share = against_others(km, age_years, others_km)
    own = km / age_years
    middle = median(other / age for other, age in others_km)
    words = (
        f"{own:,.0f} km a year; {len(others_km)} comparable cars have {middle:,.0f} km in the middle, "
        f"{share:.0%} of them less."
    )
    if share <= UNUSUAL_SHARE and len(others_km) >= LEAST_OTHERS:
        words += " Few were driven so little: is every odometer value there, and does the wear inside fit?"
    elif share >= 1 - UNUSUAL_SHARE and len(others_km) >= LEAST_OTHERS:
        words += " Few were driven so much: motorway, delivery or hire? Ask for the receipts."
    return UseAgainstOthers(own, middle, share, len(others_km), words)


def miles_to_next_step(km: float, step_miles: int = 10_000) -> float:
    """Miles until the odometer passes the next round step, where asking prices drop.

    Parameters
    ----------
    km
        Odometer. [km]
    step_miles
        Round step. [miles]

    Returns
    -------
    float
        Miles left.

    References
    ----------
    left-digit-2012, 150 to 200 USD at each 10 000 miles in wholesale prices.
    """
    return step_miles - (km / _MILE) % step_miles
