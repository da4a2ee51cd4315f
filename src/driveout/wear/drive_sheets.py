"""Test drive before paying and first drive after work: graded answers become findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from driveout.errors import BadEntry
from driveout.files import shipped, yaml_document
from driveout.wear.verdict import CLOSE, FAILS, HOLDS, Finding, Verdict

SHEETS = ("test_drive", "first_drive")
NOT_DONE = "not done"


@dataclass(frozen=True)
class Leg:
    """One thing to do on a drive.

    Parameters
    ----------
    key
        Its name on the form.
    do
        What to do and ask, in words.
    check
        Check of the fault network it answers.
    positive_from
        Grade from which it speaks for a fault.
    stop
        Whether a positive answer ends the drive.
    """

    key: str
    do: str
    check: str
    positive_from: str
    stop: bool = False


@cache
def _data() -> dict[str, Any]:
    data: dict[str, Any] = yaml_document(
        shipped("driveout.wear", "data/drive_sheets.yaml"), "drive_sheets.yaml"
    ).data
    return data


def grades() -> tuple[str, ...]:
    """Grades of an answer from nothing to strong."""
    return tuple(_data()["grades"])


def sheet(name: str) -> tuple[Leg, ...]:
    """Legs of a drive in order.

    Parameters
    ----------
    name
        ``test_drive`` or ``first_drive``.

    Returns
    -------
    tuple of Leg
        The legs.

    Raises
    ------
    BadEntry
        If there is no such sheet.
    """
    if name not in SHEETS:
        raise BadEntry(f"{name!r} is not a sheet.", field="sheet", value=name, allowed=", ".join(SHEETS))
    return tuple(Leg(**row) for row in _data()[name])


def drive_verdicts(name: str, answers: Mapping[str, str]) -> tuple[Verdict, ...]:
    """Judge the answers of a drive; what was not done stays unknown and says nothing.

    Parameters
    ----------
    name
        Sheet.
    answers
        Grade by leg; ``not done`` or missing for unknown.

    Returns
    -------
    tuple of Verdict
        One per leg that was done.

    Raises
    ------
    BadEntry
        If a leg or grade is unknown.

    References
    ----------
    common-practice, road test of a used car.
    """
    legs = {leg.key: leg for leg in sheet(name)}
    scale = grades()
    verdicts = []
    for key, answer in answers.items():
        if key not in legs:
            raise BadEntry(f"{key!r} is not on the sheet.", field=key, value=key, allowed=", ".join(legs))
        if answer in (NOT_DONE, ""):
            continue
        if answer not in scale:
            raise BadEntry(
                f"{answer!r} is not a grade.", field=key, value=answer, allowed=", ".join((*scale, NOT_DONE))
            )
        leg = legs[key]
        positive = scale.index(answer) >= scale.index(leg.positive_from)
        outcome = FAILS if positive else CLOSE if answer != scale[0] else HOLDS
        words = f"{leg.do} {answer.capitalize()}."
        if positive and leg.stop:
            words += " Stop here: do not drive on before this is found."
        verdicts.append(
            Verdict(
                leg.do, outcome, words=words, findings=(Finding(leg.check, positive, f"{leg.do} {answer}"),)
            )
        )
    return tuple(verdicts)
