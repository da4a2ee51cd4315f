"""Compression dry and wet with the altitude said at both ends, leak-down, and what they point at."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from driveout.errors import BadEntry
from driveout.wear.limits import Limit, limits_of
from driveout.wear.verdict import CLOSE, FAILS, HOLDS, OPEN, Finding, Verdict, judge

# ISO 2533: sea level 288.15 K, lapse 6.5 K/km, pressure exponent g/(R L) = 5.25588.
_T0, _LAPSE, _EXPONENT = 288.15, 0.0065, 5.25588
# Its radius of the earth turns a measured height into the height the formula is written in. [m]
_RADIUS = 6_356_766.0
# Checks of the fault network ask for these (common practice, no source).
SPREAD_FINDING = 0.80
VERY_LOW = 0.50
LEAST_FINDING_KPA = 900.0
WET_RISE = 0.15
LEAK_FINDING_PERCENT = 25.0


@dataclass(frozen=True)
class AltitudeBand:
    """Factors on a sea-level compression at a height, both ends of a band.

    Parameters
    ----------
    density
        Ratio of the standard atmosphere's density, which the published table prints.
    pressure
        Ratio of its pressure, which the physics of a warm engine and a gauge says.
    """

    density: float
    pressure: float


def altitude_band(height_m: float) -> AltitudeBand:
    """Both ends of the altitude correction; the ratio between cylinders needs none.

    Parameters
    ----------
    height_m
        Height above the sea. [m]

    Returns
    -------
    AltitudeBand
        Density and pressure ratio of the standard atmosphere.

    Raises
    ------
    BadEntry
        If the height is outside the lowest layer that the formula holds in.

    References
    ----------
    iso-2533, lower layer; compression-altitude-table, which equals the density ratio.

    Examples
    --------
    >>> band = altitude_band(5000 * 0.3048)
    >>> round(band.density, 3), round(band.pressure, 3)
    (0.862, 0.832)
    """
    if not -500 <= height_m <= 6000:
        raise BadEntry(
            f"{height_m:g} m is no height for a car.",
            field="altitude",
            value=height_m,
            allowed="-500 to 6000 m",
        )
    warmth = 1.0 - _LAPSE * (_RADIUS * height_m / (_RADIUS + height_m)) / _T0
    pressure = warmth**_EXPONENT
    return AltitudeBand(pressure / warmth, pressure)


def compression_ratio(readings: Sequence[float]) -> float:
    """Lowest over highest cylinder."""
    return min(readings) / max(readings)


def low_cylinders(dry_kpa: Sequence[float], least_ratio: float) -> tuple[int, ...]:
    """Numbers, from 1, of the cylinders below the ratio of the highest."""
    highest = max(dry_kpa)
    return tuple(n for n, value in enumerate(dry_kpa, 1) if value < least_ratio * highest - 1e-9)


def compression(
    dry_kpa: Sequence[float],
    limits: Sequence[Limit],
    *,
    wet_kpa: Mapping[int, float] | None = None,
    altitude_m: float = 0.0,
) -> Verdict:
    """Judge a compression test.

    Parameters
    ----------
    dry_kpa
        Highest pressure per cylinder in order, throttle open, warm. [kPa]
    limits
        All limits known for this car.
    wet_kpa
        Pressure again with 15 ml of oil, by cylinder number. [kPa]
    altitude_m
        Height where it was measured. [m]

    Returns
    -------
    Verdict
        By the ratio of lowest to highest, with what the wet test and the pattern point at.

    Raises
    ------
    BadEntry
        If there are fewer than two cylinders, or a wet value names no cylinder.

    References
    ----------
    makers-compression-texts, 75 % by two makers, 70 % by another, 90 % on hobby pages.
    """
    if len(dry_kpa) < 2:
        raise BadEntry("A compression test needs every cylinder; the spread between them tells.", field="dry")
    if min(dry_kpa) < 0 or max(dry_kpa) <= 0:
        raise BadEntry(
            "Every cylinder reads 0: is the throttle open, the battery full, the gauge tight?",
            field="dry",
            value=0,
        )
    ratio = compression_ratio(dry_kpa)
    verdict = judge(
        "Compression, lowest to highest cylinder", ratio, "ratio", limits_of("compression_ratio", limits)
    )
    band = altitude_band(altitude_m)
    level = _level(dry_kpa, limits, band)
    verdict = verdict.adding(steps=level.steps, others=level.others)
    if level.outcome == FAILS:
        verdict = verdict.adding(outcome=FAILS, words=f"{verdict.words} {level.words}")
    weakest = min(dry_kpa)
    spread_low = ratio < SPREAD_FINDING
    # Benefit of the doubt: the larger correction of both ends is granted before the level is called low.
    level_low = weakest < LEAST_FINDING_KPA * band.pressure
    shown = ", ".join(f"{value:.0f}" for value in dry_kpa)
    findings = [
        Finding(
            "b_compression",
            spread_low or level_low,
            f"Compression {shown} kPa, ratio {ratio:.2f}",
            grade=2 if ratio < VERY_LOW else None,
        )
    ]
    repairs: list[str] = []
    meanings = _meaning(dry_kpa, wet_kpa or {}, findings, repairs)
    if verdict.outcome == FAILS and not repairs:
        meanings.append("Repeat the low cylinder with 15 ml of oil: rings or valves?")
    return verdict.adding(
        findings=tuple(findings),
        steps=tuple(meanings),
        repairs=tuple(dict.fromkeys(repairs)),
        words=" ".join([verdict.words, *meanings]),
        cautions=("Disable ignition and fuel before cranking; loosen plugs in a cold aluminium head.",),
    )


def _level(dry: Sequence[float], limits: Sequence[Limit], band: AltitudeBand) -> Verdict:
    """Lowest cylinder against the least pressure, brought to sea level at both ends of the band."""
    known = limits_of("compression_kpa", limits)
    low, high = min(dry) / band.density, min(dry) / band.pressure
    at_low = judge("Lowest cylinder at sea level, density end", low, "kpa", known)
    at_high = judge("Lowest cylinder at sea level, pressure end", high, "kpa", known)
    steps = (
        f"altitude factors: density {band.density:.3f}, pressure {band.pressure:.3f}; lowest at sea level {low:.0f} to {high:.0f} kPa",
    )
    if at_low.outcome == at_high.outcome:
        return at_high.adding(steps=steps)
    return Verdict(
        "Lowest cylinder",
        OPEN,
        min(dry),
        "kpa",
        words="Whether the level is enough depends on which altitude correction is right.",
        steps=steps,
    )


def _meaning(
    dry: Sequence[float], wet: Mapping[int, float], findings: list[Finding], repairs: list[str]
) -> list[str]:
    lines: list[str] = []
    low = low_cylinders(dry, 0.75)
    for number, after in sorted(wet.items()):
        if not 1 <= number <= len(dry):
            raise BadEntry(
                f"Cylinder {number} was not measured dry.",
                field="wet",
                value=number,
                allowed=f"1 to {len(dry)}",
            )
        before = dry[number - 1]
        if before <= 0:
            continue
        rise = after / before - 1.0
        rings = rise > WET_RISE
        repairs.append("rep_engine_reman" if rings else "rep_head_valves")
        findings.append(
            Finding(
                "b_compr_wet",
                rings,
                f"Cylinder {number} {before:.0f} dry, {after:.0f} wet",
                ("eng_low_compression",) if rings else (),
            )
        )
        lines.append(
            f"Cylinder {number} rises by {rise:.0%} with oil: "
            + ("rings or bore." if rings else "oil does not help, so valves or gasket.")
        )
    for left, right in itertools.pairwise(low):
        if right == left + 1:
            repairs.append("rep_head_gasket")
            lines.append(
                f"Cylinders {left} and {right} are neighbours and both low: head gasket between them."
            )
            findings.append(
                Finding("b_compression", True, f"Neighbours {left} and {right} low", ("eng_head_gasket",))
            )
    return lines


def plug_hole_look(words: str) -> Verdict:
    """Note what a look through the plug hole showed.

    Parameters
    ----------
    words
        Notes, in the person's words.

    Returns
    -------
    Verdict
        Open: notes are shown and kept, a person judges them.
    """
    marks = ("valve mark", "score", "scratch", "steam", "clean crown", "hole", "melt", "broken")
    bad = [mark for mark in marks if mark in words.lower()]
    return Verdict(
        "Look through the plug hole",
        FAILS if bad else HOLDS,
        words=words,
        findings=(Finding("b_borescope", bool(bad), words[:120]),),
        steps=(f"words that speak for a fault: {', '.join(bad) or 'none'}",),
    )


ESCAPES = {
    "intake": ("Air at the air filter: inlet valve.", ("eng_low_compression",), "rep_head_valves"),
    "exhaust": ("Air at the tail pipe: exhaust valve.", ("eng_low_compression",), "rep_head_valves"),
    "oil filler": ("Air at the oil filler: rings or bore.", ("eng_low_compression",), "rep_engine_reman"),
    "coolant": (
        "Bubbles in the coolant: head gasket or crack.",
        ("eng_head_gasket", "eng_head_cracked"),
        "rep_head_gasket",
    ),
    "next cylinder": (
        "Air from the next plug hole: head gasket between both.",
        ("eng_head_gasket",),
        "rep_head_gasket",
    ),
}


def leak_percent(supply_kpa: float, held_kpa: float) -> float:
    """Leak-down: share of the supplied pressure that is lost, ``(p1 - p2) / p1``.

    Parameters
    ----------
    supply_kpa
        Pressure before and behind the gauge's orifice. [kPa]
    held_kpa
        See `supply_kpa`.

    Returns
    -------
    float
        Percent.

    Raises
    ------
    BadEntry
        If the held pressure is above the supply.

    References
    ----------
    common-practice, aircraft 80 to 60 psi is 25 %.

    Examples
    --------
    >>> leak_percent(80, 60)
    25.0
    """
    if supply_kpa <= 0 or not 0 <= held_kpa <= supply_kpa:
        raise BadEntry(
            f"{held_kpa:g} held of {supply_kpa:g} supplied cannot be; swap the two gauges?",
            field="held",
            value=held_kpa,
            allowed=f"0 to {supply_kpa:g}",
        )
    return 100.0 * (supply_kpa - held_kpa) / supply_kpa


def leak_down(cylinder: int, percent: float, escape: str, limits: Sequence[Limit]) -> Verdict:
    """Judge a leak-down test of one cylinder; where the air leaves tells more than the figure.

    Parameters
    ----------
    cylinder
        Number from 1.
    percent
        Loss. [%]
    escape
        One of `ESCAPES`, or empty.
    limits
        All limits known for this car.

    Returns
    -------
    Verdict
        General bands are recalled and never decide; the orifice is not standardised.

    Raises
    ------
    BadEntry
        If the place of escape is unknown.

    References
    ----------
    common-practice, under 10 good, to 20 ordinary, above 30 a fault.
    """
    if escape and escape not in ESCAPES:
        raise BadEntry(
            f"{escape!r} is not on the list.", field="escape", value=escape, allowed=", ".join(ESCAPES)
        )
    verdict = judge(f"Leak-down, cylinder {cylinder}", percent, "percent", limits_of("leak_percent", limits))
    leaks = percent > LEAK_FINDING_PERCENT
    words, points, repair = ESCAPES.get(escape, ("", (), ""))
    return verdict.adding(
        findings=(
            Finding(
                "b_leakdown",
                leaks,
                f"Leak-down cylinder {cylinder} {percent:.0f} %. {words}".strip(),
                points if leaks else (),
            ),
        ),
        repairs=(repair,) if leaks and repair else (),
        words=f"{verdict.words} {words}".strip(),
        cautions=(
            "Hold the crank: compressed air turns the engine. Keep hands and tools off the fan and belt.",
        ),
    )


def oil_pressure(kpa: float, rpm: float, limits: Sequence[Limit]) -> Verdict:
    """Judge hot oil pressure at a speed; 69 kPa (10 psi) per 1000 /min is common practice, not a standard.

    Parameters
    ----------
    kpa
        Pressure on a gauge, oil hot. [kPa]
    rpm
        Engine speed. [1/min]
    limits
        All limits known for this car.

    Returns
    -------
    Verdict
        Decided by the maker's value only; the rule of thumb is shown unverified.

    References
    ----------
    common-practice, 10 psi per 1000 revolutions.
    """
    asked = 68.94757293168361 * rpm / 1000.0
    known = limits_of("oil_pressure_kpa", limits)
    if rpm > 1200:
        thumb = Limit(
            "oil-thumb",
            "oil_pressure_kpa",
            asked,
            f"10 psi per 1000 /min ({asked:.0f} kPa)",
            "least",
            "generic",
            source="common-practice",
            how_known="recalled",
            weight="warn",
        )
        known = (*(limit for limit in known if limit.key != "oil-idle"), thumb)
    verdict = judge(f"Oil pressure at {rpm:.0f} /min", kpa, "kpa", known)
    low = verdict.outcome == FAILS or (
        verdict.decided_by is None and any(o.outcome in (FAILS, CLOSE) for o in verdict.others)
    )
    return verdict.adding(
        findings=(
            Finding(
                "s_oil_lamp",
                low,
                f"Oil pressure {kpa:.0f} kPa at {rpm:.0f} /min",
                ("eng_low_oil_pressure",) if low else (),
            ),
        ),
        repairs=("rep_oil_pressure_check",) if low else (),
    )


def cooling_pressure(drop_kpa: float, minutes: float, limits: Sequence[Limit]) -> Verdict:
    """Judge the pressure lost from a cooling system pumped up cold to its cap's rating.

    Parameters
    ----------
    drop_kpa
        Pressure lost. [kPa]
    minutes
        Time held. [min]
    limits
        All limits known for this car.

    Returns
    -------
    Verdict
        Brought to ten minutes.

    Raises
    ------
    BadEntry
        If the time is not above 0.

    References
    ----------
    common-practice, 0.1 bar in ten minutes.
    """
    if minutes <= 0:
        raise BadEntry(
            "The test must last longer than 0 minutes.", field="minutes", value=minutes, allowed="above 0"
        )
    in_ten = drop_kpa * 10.0 / minutes
    verdict = judge(
        "Cooling system, drop in 10 minutes", in_ten, "kpa", limits_of("cooling_drop_kpa", limits)
    )
    leaks = in_ten > 10.0
    return verdict.adding(
        findings=(
            Finding(
                "b_cool_pressure",
                leaks,
                f"Cooling system lost {drop_kpa:.0f} kPa in {minutes:g} min",
                ("eng_coolant_leak",) if leaks else (),
            ),
        ),
        repairs=("rep_water_pump", "rep_radiator") if leaks else (),
        cautions=("Never open or pump a hot system: it scalds.",),
    )
