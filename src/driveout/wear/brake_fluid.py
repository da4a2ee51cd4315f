"""Brake fluid: grades, what may be mixed, boiling point falling with water."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

from driveout.errors import BadEntry
from driveout.files import shipped, yaml_document
from driveout.wear.limits import Limit, limits_of
from driveout.wear.verdict import CLOSE, FAILS, HOLDS, Finding, Verdict, judge


@cache
def _data() -> dict[str, Any]:
    data: dict[str, Any] = yaml_document(
        shipped("driveout.wear", "data/brake_fluid.yaml"), "brake_fluid.yaml"
    ).data
    return data


def grade(name: str) -> str:
    """Return the grade as written in the table, or refuse a name that is none.

    Parameters
    ----------
    name
        For example ``dot4``, ``DOT 5.1``.

    Returns
    -------
    str
        ``DOT 3``, ``DOT 4``, ``DOT 5`` or ``DOT 5.1``.

    Raises
    ------
    BadEntry
        If there is no such grade.
    """
    plain = name.upper().replace("DOT", "").strip(" -")
    wanted = f"DOT {plain}"
    if wanted not in _data()["grades"]:
        raise BadEntry(
            f"{name!r} is no grade of brake fluid.",
            field="grade",
            value=name,
            allowed=", ".join(_data()["grades"]),
        )
    return wanted


def least_boiling_c(name: str, *, wet: bool = False) -> float:
    """Least boiling point that the grade must have, dry or wet. [C].

    References
    ----------
    fmvss-116, through a secondary text.
    """
    return float(_data()["grades"][grade(name)]["wet" if wet else "dry"])


def boiling_with_water_c(name: str, water_percent: float) -> float:
    """Boiling point to expect at a water content, on the line from dry to wet.

    A straight line is our own simplification: the true curve falls faster at first, so the
    figure errs on the high side below the wet point.

    Parameters
    ----------
    name
        Grade.
    water_percent
        Water. [%]

    Returns
    -------
    float
        Temperature, not below that of water. [C]

    Raises
    ------
    BadEntry
        If the water content is outside 0 to 10 %.

    References
    ----------
    own-reasoning, docs/method/fluids.md.
    """
    if not 0 <= water_percent <= 10:
        raise BadEntry(
            f"{water_percent:g} % water is no brake fluid.",
            field="water",
            value=water_percent,
            allowed="0 to 10 %",
        )
    dry, wet = least_boiling_c(name), least_boiling_c(name, wet=True)
    return max(100.0, dry + (wet - dry) * water_percent / float(_data()["wet_water_percent"]))


def may_mix(one: str, other: str) -> tuple[bool, str]:
    """Whether two grades may meet in one system, and why.

    Parameters
    ----------
    one
        Grades.
    other
        See `one`.

    Returns
    -------
    tuple
        Yes or no, and the reason.

    References
    ----------
    fmvss-116, silicone grade 5 never with 3, 4 or 5.1.
    """
    grades = _data()["grades"]
    a, b = grade(one), grade(other)
    if grades[a]["base"] != grades[b]["base"]:
        return (
            False,
            "Silicone DOT 5 never mixes with DOT 3, 4 or 5.1: flush the whole system first, or stay with what is in it.",
        )
    lower = min(a, b, key=lambda name: float(grades[name]["dry"]))
    if a == b:
        return True, "The same grade."
    return True, f"Both are glycol based; the mix counts as {lower} at best. Fill what the maker's cap says."


def fluid_verdict(
    name: str,
    water_percent: float | None,
    level_low: bool,
    black: bool,
    limits: Sequence[Limit],
    *,
    asked: str = "",
) -> Verdict:
    """Judge the brake fluid in the car.

    Parameters
    ----------
    name
        Grade in the car.
    water_percent
        Water content by a test pen; None when not tested. [%]
    level_low
        What is seen.
    black
        See `level_low`.
    limits
        All limits known for this car.
    asked
        Grade that the maker asks for, if known.

    Returns
    -------
    Verdict
        With the boiling point to expect.

    References
    ----------
    fmvss-116, wet point at about 3.7 % water.
    """
    seen = level_low or black
    finding = Finding(
        "b_brake_fluid", seen, "Brake fluid low or black" if seen else "Brake fluid level and colour right"
    )
    known = grade(name)
    if water_percent is None:
        verdict = Verdict(
            "Brake fluid",
            CLOSE if seen else HOLDS,
            words=f"{known}, {'low or black' if seen else 'level and colour right'}.",
        )
    else:
        verdict = judge(
            "Water in the brake fluid",
            water_percent,
            "percent",
            limits_of("moisture_percent", limits),
            close=0.7,
        )
        boils = boiling_with_water_c(known, water_percent)
        verdict = verdict.adding(words=f"{verdict.words} {known} then boils at about {boils:.0f} °C.")
    if asked:
        right, why = may_mix(known, asked)
        if not right:
            verdict = verdict.adding(
                outcome=FAILS, words=f"{verdict.words} The maker asks for {grade(asked)}. {why}"
            )
        elif least_boiling_c(known) < least_boiling_c(asked):
            verdict = verdict.adding(
                outcome=CLOSE, words=f"{verdict.words} The maker asks for {grade(asked)}, which boils higher."
            )
    return verdict.adding(
        findings=(finding,),
        repairs=("rep_caliper",) if verdict.outcome in (FAILS, CLOSE) else (),
        cautions=("Brake fluid eats paint. A pen's reading is rough; a boiling test is sure.",),
    )
