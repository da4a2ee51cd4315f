"""Wheels: runout of the rim, nuts."""

from __future__ import annotations

from collections.abc import Sequence

from driveout.wear.limits import Limit, limits_of
from driveout.wear.verdict import FAILS, HOLDS, Verdict, judge


def rim_runout(
    corner: str, lateral_mm: float, radial_mm: float | None, limits: Sequence[Limit], place: str = ""
) -> Verdict:
    """Judge the runout of a rim at the bead areas, sideways and up and down.

    Parameters
    ----------
    corner
        ``front left`` ...
    lateral_mm
        Total indicator reading; the radial one may be missing. [mm]
    radial_mm
        See `lateral_mm`.
    limits
        All limits known for this car.
    place
        Where the car is used.

    Returns
    -------
    Verdict
        By the larger of both.

    References
    ----------
    cfr-49-570, 570.10(b).
    """
    worst = max(lateral_mm, radial_mm or 0.0)
    known = limits_of("wheel_runout_mm", limits, corner)
    verdict = judge(f"Rim {corner}, runout", worst, "mm", known, place=place)
    if verdict.outcome == FAILS:
        verdict = verdict.adding(words=f"{verdict.words} Straighten or replace the wheel.")
    return verdict


def nuts(corner: str, missing: int, loose: int) -> Verdict:
    """Judge the wheel nuts: all present and tight (570.10(c))."""
    bad = missing > 0 or loose > 0
    words = (
        f"{missing} missing, {loose} loose. Do not drive it; tighten in a star to the maker's torque."
        if bad
        else "All present and tight."
    )
    return Verdict(f"Wheel nuts {corner}", FAILS if bad else HOLDS, words=words)
