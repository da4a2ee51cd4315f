"""What was looked up about papers and number, as verdicts."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import Any

from driveout.cars.odometer import OdometerReading, odometer_series
from driveout.cars.papers import brand, disclosure_duty, paper_checks
from driveout.errors import BadEntry
from driveout.wear.reading import Given
from driveout.wear.typed import read_quantity
from driveout.wear.verdict import CLOSE, FAILS, HOLDS, OPEN, Finding, Verdict


def paper_verdicts(given: Given, got: dict[str, Any]) -> list[Verdict]:
    """Judge odometer values, title brand, what was looked up, and say the disclosure duty."""
    found: list[Verdict] = []
    if "odometer" in got:
        found.append(_odometer(given, read_odometer_lines(got["odometer"])))
    if "vin_read" in got:
        found.append(_number(given.facts.vin, got["vin_read"]))
    if "brand" in got:
        found.append(_brand(got["brand"]))
    for check in paper_checks():
        answer = got.get(f"paper_{check.key}")
        if answer:
            wrong = answer == "not true"
            found.append(
                Verdict(
                    check.do,
                    FAILS if wrong else HOLDS,
                    words=f"{check.do}: {answer}."
                    + (" Pay nothing before this is cleared up." if wrong else ""),
                    findings=(Finding(check.check, wrong, f"{check.do}: {answer}"),),
                )
            )
    if given.facts.made_year:
        duty = disclosure_duty(given.facts.made_year, max(given.facts.on.year, given.facts.made_year))
        found.append(
            Verdict(
                "US odometer disclosure",
                HOLDS,
                words=("Owed when it is sold this year: " if duty.owed else "Not owed: ")
                + duty.why
                + " (49 CFR 580.17).",
            )
        )
    return found


def _odometer(given: Given, readings: Sequence[OdometerReading]) -> Verdict:
    series = odometer_series(readings, given.facts.on)
    rate = f"{series.km_a_year:,.0f} km a year on the whole." if series.km_a_year else ""
    words = " ".join([f"{len(readings)} odometer values.", rate, *series.lines]).strip()
    findings = (
        (Finding("p_odo_series", series.doubtful, words),) if series.doubtful or len(readings) >= 3 else ()
    )
    outcome = FAILS if series.falls or series.heavy else CLOSE if series.gaps else HOLDS
    return Verdict("Odometer through the years", outcome, words=words, findings=findings)


def _number(typed: str, told: str) -> Verdict:
    """The number that the control unit carries beside the typed one; neither changes the other."""
    plain = "".join(letter for letter in told.upper() if letter not in " -")
    if not typed:
        words = f"The control unit carries {plain}. Read the plate behind the glass and enter it; then both are compared."
        return Verdict("Number of the control unit", OPEN, words=words)
    if plain == typed:
        why = f"control unit and plate both say {typed}"
        return Verdict(
            "Number of the control unit",
            HOLDS,
            words=f"Control unit and typed number are the same: {typed}.",
            findings=(Finding("p_vin_match", False, why),),
        )
    places = [str(n) for n, (a, b) in enumerate(zip(plain, typed, strict=False), 1) if a != b]
    where = (
        f"differ at position {', '.join(places)}"
        if len(plain) == len(typed)
        else f"have {len(plain)} and {len(typed)} signs"
    )
    words = (
        f"The control unit carries {plain}, you typed {typed}: they {where}. Read the plate again; if both stand, "
        "the unit comes from another car. Ask why, and look at all four places."
    )
    findings = (Finding("p_vin_match", True, words),) if len(places) > 2 else ()
    return Verdict("Number of the control unit", FAILS, words=words, findings=findings)


def _brand(name: str) -> Verdict:
    mark = brand(name)
    clean = mark.least == mark.most == 1.0
    words = f"Title brand {name}: " + (
        "none."
        if clean
        else f"leaves {mark.least:.0%} to {mark.most:.0%} of a clean car's value; {mark.note}."
    )
    return Verdict(
        "Title brand",
        HOLDS if clean else FAILS,
        words=words,
        findings=(Finding("p_brand_lookup", not clean, words),),
    )


def read_odometer_lines(text: str) -> tuple[OdometerReading, ...]:
    """Read dated odometer values, one a line: day, value with unit, origin.

    Parameters
    ----------
    text
        For example ``2019-05-04 61000 km inspection``.

    Returns
    -------
    tuple of OdometerReading
        In the order written.

    Raises
    ------
    BadEntry
        Naming the line that cannot be read.
    """
    found = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        match = re.match(
            r"\s*(\d{4}-\d{2}-\d{2})[\s,;]+([\d.,']+)\s*(km|mi|miles)?\b[\s,;]*(.*)$", line, re.IGNORECASE
        )
        if not match:
            raise BadEntry(
                f"Line {number}: {line.strip()[:60]!r} is not a day, a value and a unit.",
                field="odometer",
                value=line.strip()[:60],
                allowed="2019-05-04 61000 km inspection",
            )
        if not match[3]:
            raise BadEntry(
                f"Line {number}: {match[2]} has no unit. Kilometres or miles? Write km or mi behind it.",
                field="odometer",
                value=match[2],
                allowed="km or mi",
            )
        try:
            day = date.fromisoformat(match[1])
        except ValueError as error:
            raise BadEntry(
                f"Line {number}: {match[1]} is no day.", field="odometer", value=match[1]
            ) from error
        found.append(
            OdometerReading(
                day, read_quantity(f"{match[2]} {match[3]}", "km", field="odometer"), match[4].strip()[:80]
            )
        )
    return tuple(found)
