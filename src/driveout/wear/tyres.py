"""Tyres: fit against the maker's size, tread and its pattern, age, all-wheel match, grading, cost per mm."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import pi

from driveout.errors import BadEntry, CannotSay
from driveout.units import Money
from driveout.wear.life import straight_line_life
from driveout.wear.limits import Limit, limits_of
from driveout.wear.tyre_size import TyreSize
from driveout.wear.verdict import (
    CLOSE,
    FAILS,
    HOLDS,
    OPEN,
    Finding,
    LifeLeft,
    OtherLimit,
    Verdict,
    by_limit,
    judge,
)

NEW_TREAD_MM = 8.0
NEW_TREAD_SD_MM = 0.5
TREAD_SD_MM = 0.2
# The check of the fault network asks for these (common practice, no source).
TREAD_FINDING_MM = 3.0
AGE_FINDING_YEARS = 7.0
EDGE_FINDING_MM = 2.0


def fitment(fitted: TyreSize, specified: TyreSize, limits: Sequence[Limit]) -> Verdict:
    """Compare a fitted tyre with the maker's size: diameter, load, speed, rim.

    Parameters
    ----------
    fitted
        Code on the tyre.
    specified
        Code on the maker's plate.
    limits
        All limits known for this car.

    Returns
    -------
    Verdict
        Fails on too little load or speed; diameter is judged by its limit.

    References
    ----------
    etrto-load-index, loads; tyre-speed-symbols, speeds are compared, never letters.
    """
    change = 100.0 * (fitted.diameter_mm / specified.diameter_mm - 1.0)
    verdict = judge(
        "Tyre diameter against the maker's size",
        abs(change),
        "percent",
        limits_of("diameter_difference_percent", limits),
    )
    steps = [
        f"fitted {fitted.text()}: {fitted.diameter_mm:.1f} mm, maker {specified.text()}: {specified.diameter_mm:.1f} mm, {change:+.2f} %",
        f"at an indicated 100 the car runs {100 + change:.1f}",
    ]
    faults = []
    load, need = fitted.load_kg, specified.load_kg
    if load is not None and need is not None and load < need:
        faults.append(f"carries {load:g} kg where the maker asks for {need:g} kg")
    speed, asked = fitted.speed_km_h, specified.speed_km_h
    if speed is not None and asked is not None and speed < asked:
        faults.append(
            f"is good for {speed} km/h where the maker asks for {asked} km/h (winter tyres may be allowed less)"
        )
    if specified.extra_load and not fitted.extra_load and load is None:
        faults.append("is not marked XL as the maker's is")
    if fitted.rim_in != specified.rim_in:
        steps.append(
            f"rim {fitted.rim_in:g} in instead of {specified.rim_in:g} in: offset and clearance must be looked at"
        )
    if faults:
        return verdict.adding(
            outcome=FAILS, words=f"The tyre {'; '.join(faults)}.", steps=tuple(steps), repairs=("rep_tyres",)
        )
    wide = abs(change) > 3.0
    return verdict.adding(
        outcome=CLOSE if wide else HOLDS,
        words=f"Diameter differs by {change:+.2f} %."
        + (" That is much: speedometer, clearance, inspection." if wide else ""),
        steps=tuple(steps),
    )


def circumference_from_tread_mm(tread_difference_mm: float) -> float:
    """Difference of circumference that a difference of tread makes, ``2 pi d``. [mm]."""
    return 2.0 * pi * tread_difference_mm


def all_wheel_match(treads_mm: Mapping[str, float], limits: Sequence[Limit]) -> Verdict:
    """Judge whether four tyres are alike enough for all-wheel drive.

    Published rules conflict: 1/4 in of circumference is 1.27/32 in of tread, while other pages
    allow 2/32 or 3/32 in of tread. The maker's value decides; without it 1/4 in of circumference.

    Parameters
    ----------
    treads_mm
        Average tread by corner, four of one size. [mm]
    limits
        All limits known for this car.

    Returns
    -------
    Verdict
        With every rule that would have said otherwise.

    Raises
    ------
    CannotSay
        If fewer than four corners are known.

    References
    ----------
    tyre-matching-pages, three rules that conflict.
    """
    if len(treads_mm) < 4:
        raise CannotSay(
            "All four tyres must be measured for the all-wheel match.", missing="tread of four corners"
        )
    gap = max(treads_mm.values()) - min(treads_mm.values())
    around = circumference_from_tread_mm(gap)
    tread_rules = limits_of("tread_difference_mm", limits)
    maker_tread = [limit for limit in tread_rules if limit.kind == "maker"]
    if maker_tread:
        verdict = judge("All-wheel match, tread", gap, "mm", tread_rules)
        crossed = limits_of("circumference_difference_mm", limits)
        value = around
    else:
        verdict = judge(
            "All-wheel match, circumference", around, "mm", limits_of("circumference_difference_mm", limits)
        )
        crossed, value = tread_rules, gap
    differing = tuple(
        OtherLimit(limit, by_limit(limit, value))
        for limit in crossed
        if by_limit(limit, value) != verdict.outcome
    )
    verdict = verdict.adding(
        others=differing,
        steps=(
            f"tread differs by {gap:.2f} mm ({gap / 25.4 * 32:.1f}/32 in), circumference by {around:.1f} mm",
        ),
    )
    if differing:
        verdict = verdict.adding(
            words=verdict.words
            + " Rules on tread disagree: "
            + "; ".join(f"{o.limit.short()}: {o.outcome}" for o in differing)
            + "."
        )
    if verdict.outcome == FAILS:
        verdict = verdict.adding(
            repairs=("rep_tyres",),
            cautions=("Unlike tyres wind up the centre coupling; do not drive far like that.",),
        )
    return verdict


@dataclass(frozen=True)
class Tread:
    """Tread at three places across one tyre, from the side of the car's middle outward. [mm]."""

    inner_mm: float
    middle_mm: float
    outer_mm: float
    cupped: bool = False
    feathered: bool = False

    @property
    def least_mm(self) -> float:
        """Lowest place. [mm]."""
        return min(self.inner_mm, self.middle_mm, self.outer_mm)

    @property
    def mean_mm(self) -> float:
        """Average of the three places. [mm]."""
        return (self.inner_mm + self.middle_mm + self.outer_mm) / 3.0


_PATTERNS = {
    "inner edge": "Inner edge worn: negative camber, toe-out or a worn bush. Measure the alignment.",
    "outer edge": "Outer edge worn: toe-in, positive camber or hard cornering. Measure the alignment.",
    "both edges": "Both edges worn: driven with too little pressure.",
    "middle": "Middle worn: driven with too much pressure.",
    "cupped": "Cupped: the damper or a joint lets the wheel hop.",
    "feathered": "Feathered ribs: toe is out.",
}


def wear_pattern(tread: Tread, gap_mm: float = 1.0) -> tuple[str, ...]:
    """What the unevenness across a tyre points at.

    Parameters
    ----------
    tread
        Three places.
    gap_mm
        Unevenness below which the tyre counts as even. [mm]

    Returns
    -------
    tuple of str
        Any of ``inner edge``, ``outer edge``, ``both edges``, ``middle``, ``cupped``, ``feathered``.

    References
    ----------
    common-practice, tyre wear patterns.
    """
    found = []
    inner, middle, outer = tread.inner_mm, tread.middle_mm, tread.outer_mm
    if middle - inner >= gap_mm and middle - outer >= gap_mm:
        found.append("both edges")
    elif inner - middle >= gap_mm and outer - middle >= gap_mm:
        found.append("middle")
    elif outer - inner >= gap_mm:
        found.append("inner edge")
    elif inner - outer >= gap_mm:
        found.append("outer edge")
    if tread.cupped:
        found.append("cupped")
    if tread.feathered:
        found.append("feathered")
    return tuple(found)


def tread_verdict(
    corner: str,
    tread: Tread,
    limits: Sequence[Limit],
    *,
    place: str = "",
    km_driven: float | None = None,
    new_mm: float | None = None,
) -> Verdict:
    """Judge the tread of one tyre by its lowest place.

    Parameters
    ----------
    corner
        ``front left`` ...
    tread
        Depth at three places.
    limits
        All limits known for this car.
    place
        Where the car is used.
    km_driven
        Distance on these tyres; without it no life is given. [km]
    new_mm
        Tread when new; 8 mm with a wide error when not said. [mm]

    Returns
    -------
    Verdict
        With the wear pattern as findings.

    Raises
    ------
    BadEntry
        If a place is deeper than the tyre was new.
    """
    deepest = max(tread.inner_mm, tread.middle_mm, tread.outer_mm)
    if new_mm is not None and deepest > new_mm + 0.3:
        raise BadEntry(
            f"Tread {corner} reads {deepest:g} mm; new it was {new_mm:g} mm. Check the unit: 10/32 in is 7.9 mm.",
            field="tread",
            value=deepest,
            allowed=f"at most {new_mm:g} mm",
        )
    verdict = judge(
        f"Tread {corner}, lowest place",
        tread.least_mm,
        "mm",
        limits_of("tread_mm", limits, corner),
        place=place,
        close=1.0,
    )
    pattern = wear_pattern(tread)
    edge = max(tread.middle_mm - min(tread.inner_mm, tread.outer_mm), abs(tread.inner_mm - tread.outer_mm))
    findings = [
        Finding(
            "w_tyre_pattern",
            edge > EDGE_FINDING_MM or tread.cupped,
            f"Tread {corner} {tread.inner_mm:.1f}/{tread.middle_mm:.1f}/{tread.outer_mm:.1f} mm",
        )
    ]
    if tread.least_mm < TREAD_FINDING_MM:
        findings.append(Finding("w_tyre_age", True, f"Tread {corner} {tread.least_mm:.1f} mm"))
    repairs = ["rep_tyres"] if verdict.outcome == FAILS else []
    if tread.cupped:
        repairs.append("rep_struts")
    verdict = verdict.adding(
        findings=tuple(findings), repairs=tuple(repairs), steps=tuple(_PATTERNS[name] for name in pattern)
    )
    if pattern:
        verdict = verdict.adding(words=f"{verdict.words} {_PATTERNS[pattern[0]]}")
    floor = verdict.decided_by.value if verdict.decided_by else 1.6
    if km_driven:
        try:
            life = straight_line_life(
                km_driven,
                new_mm or NEW_TREAD_MM,
                tread.least_mm,
                floor,
                sd_before=TREAD_SD_MM if new_mm else NEW_TREAD_SD_MM,
                sd_now=TREAD_SD_MM,
            )
        except CannotSay as error:
            return verdict.adding(steps=(error.message,))
        if not new_mm:
            life = LifeLeft(life.km, life.sd_km, "new tread taken as 8 mm, from memory")
        verdict = verdict.adding(life=life, words=f"{verdict.words} It has {life.words()}.")
    return verdict


CONDITIONS = ("bulge", "cord shows", "cut to the cord", "marked not for highway use", "sides cracked")


def condition(corner: str, seen: Sequence[str]) -> Verdict:
    """Judge a tyre by what is seen: any of the first four ends its life, cracks are asked about.

    Parameters
    ----------
    corner
        ``front left`` ...
    seen
        Any of `CONDITIONS`.

    Returns
    -------
    Verdict
        Fails without a number.

    Raises
    ------
    BadEntry
        If something seen is not on the list.

    References
    ----------
    comar-11-22-04-06, which copies 49 CFR 570.9: bulges, cord, marking.
    """
    for fault in seen:
        if fault not in CONDITIONS:
            raise BadEntry(
                f"{fault!r} is not on the list.",
                field="tyre_seen",
                value=fault,
                allowed=", ".join(CONDITIONS),
            )
    ended = [fault for fault in seen if fault != "sides cracked"]
    return Verdict(
        f"Tyre {corner}, seen",
        FAILS if ended else CLOSE if seen else HOLDS,
        words=f"Tyre {corner}: {', '.join(seen) or 'nothing seen'}."
        + (" Do not drive on it." if ended else ""),
        repairs=("rep_tyres",) if seen else (),
    )


def made_in_week_of(code: str, on: date) -> date:
    """Monday of the week in which a tyre was made.

    Parameters
    ----------
    code
        Last four digits of the full identification (week, year), or the whole code; a code of
        three digits is from before 2000.
    on
        Present day; a code in the future is refused.

    Returns
    -------
    date
        Monday of that week.

    Raises
    ------
    BadEntry
        If it is no such code, no such week, or in the future.
    CannotSay
        If it has three digits: the decade is not printed.

    References
    ----------
    cfr-49-574, 574.5: four digits since 2000.

    Examples
    --------
    >>> made_in_week_of("3518", date(2026, 10, 1))
    datetime.date(2018, 8, 27)
    """
    groups = re.findall(r"[A-Z0-9]+", code.upper())
    last = groups[-1] if groups else ""
    if len(groups) > 1 or len(last) in (12, 13):
        last = last[-4:]
    if re.fullmatch(r"\d{3}", last):
        raise CannotSay(
            f"{last} has three digits: made before 2000, in week {last[:2]} of a year ending in {last[2]}. Too old to use.",
            missing="the decade",
        )
    if not re.fullmatch(r"\d{4}", last):
        raise BadEntry(
            f"{code.strip()[:40]!r} does not end in a date. It is the four digits at the end of the full code, on one side of "
            "the tyre only.",
            field="date_code",
            value=code[:40],
            allowed="week and year, for example 3518",
        )
    week, year = int(last[:2]), 2000 + int(last[2:])
    try:
        monday = date.fromisocalendar(year, week, 1)
    except ValueError as error:
        raise BadEntry(
            f"{last}: {year} has no week {week}.",
            field="date_code",
            value=code[:40],
            allowed="week 01 to 52 (53)",
        ) from error
    if monday > on:
        raise BadEntry(
            f"{last} means {monday:%-d %B %Y}, which is in the future. Read the code again.",
            field="date_code",
            value=code[:40],
            allowed=f"until {on}",
        )
    return monday


def age_years(made: date, on: date) -> float:
    """Age in years of 365.25 days."""
    return (on - made) / timedelta(days=365.25)


def age_verdict(corner: str, code: str, on: date, limits: Sequence[Limit], place: str = "") -> Verdict:
    """Judge the age of a tyre by its date code.

    Parameters
    ----------
    corner
        ``front left`` ...
    code
        Date code.
    on
        Present day.
    limits
        All limits known for this car.
    place
        Where the car is used.

    Returns
    -------
    Verdict
        Age limits are recalled, so they warn and never decide.
    """
    try:
        made = made_in_week_of(code, on)
    except CannotSay as error:
        return Verdict(
            f"Tyre age {corner}",
            FAILS,
            words=error.message,
            findings=(Finding("w_tyre_age", True, error.message),),
            repairs=("rep_tyres",),
        )
    age = age_years(made, on)
    verdict = judge(
        f"Tyre age {corner}", age, "years", limits_of("tyre_age_years", limits, corner), place=place
    )
    warning = ""
    if verdict.decided_by is None:
        warning = (
            " 10 years or more: makers' outer limit, from memory; treat as worn out."
            if age >= 10
            else " Over 6 years: makers ask for a yearly look, from memory."
            if age > 6
            else ""
        )
    return verdict.adding(
        words=f"Tyre {corner} made in the week of {made:%-d %b %Y}, {age:.2f} years old.{warning}",
        outcome=verdict.outcome if verdict.decided_by else (OPEN if warning else HOLDS),
        findings=(Finding("w_tyre_age", age > AGE_FINDING_YEARS, f"Tyre {corner} {age:.1f} years old"),),
        repairs=("rep_tyres",) if age >= 10 else (),
        steps=("Cracks in the side or between the blocks end its life at any age.",),
    )


_TRACTION = {
    "AA": "wet braking above 0.54 on asphalt, 0.38 on concrete",
    "A": "wet braking above 0.47 on asphalt, 0.35 on concrete",
    "B": "wet braking above 0.38 on asphalt, 0.26 on concrete",
    "C": "wet braking below grade B",
}
_HEAT = {"A": "above 115 mph", "B": "100 to 115 mph", "C": "85 to 100 mph"}


def grading_words(text: str) -> str:
    """Say what the US quality grading on a tyre means.

    Parameters
    ----------
    text
        For example ``400 A A`` or ``treadwear 400 traction AA temperature A``.

    Returns
    -------
    str
        Meaning; the tread grade compares with a reference tyre of 100 and promises no distance.

    Raises
    ------
    BadEntry
        If it is not a grading.

    References
    ----------
    cfr-49-575-104, grades from memory; winter, temporary and small tyres carry none.
    """
    match = re.search(
        r"(\d{2,4})\D*?\b(AA|A|B|C)\b.*?\b([ABC])\b",
        text.upper().replace("TRACTION", "").replace("TEMPERATURE", ""),
    )
    if not match or not 20 <= int(match[1]) <= 1200:
        raise BadEntry(
            f"{text.strip()[:40]!r} is not a grading.",
            field="grading",
            value=text[:40],
            allowed="for example 400 A A",
        )
    return (
        f"Tread wears {int(match[1]) / 100:.1f} times as long as the reference tyre on the test road, no promise of distance; "
        f"{_TRACTION[match[2]]}; heat grade {match[3]}, {_HEAT[match[3]]} (unverified)."
    )


@dataclass(frozen=True)
class TyreChoice:
    """A way to get rubber: price of the set fitted, tread it brings, its age."""

    name: str
    price: Money
    tread_mm: float
    limit_mm: float = 1.6

    @property
    def usable_mm(self) -> float:
        """Tread that can still be worn. [mm]."""
        return max(0.0, self.tread_mm - self.limit_mm)


def cost_per_mm(choices: Sequence[TyreChoice]) -> list[tuple[TyreChoice, Money | None]]:
    """Price of each millimetre of usable tread, cheapest first; None when nothing usable is left.

    Parameters
    ----------
    choices
        Used and new sets in one currency.

    Returns
    -------
    list of tuple
        Choice and its price per mm.
    """
    from decimal import Decimal

    priced = [
        (
            choice,
            choice.price.times(Decimal(1) / Decimal(str(round(choice.usable_mm, 6))))
            if choice.usable_mm > 0
            else None,
        )
        for choice in choices
    ]
    return sorted(priced, key=lambda row: (row[1] is None, row[1].minor if row[1] else 0))
