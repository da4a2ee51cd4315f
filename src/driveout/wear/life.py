"""Straight-line wear: distance left and its error, with the reading they share counted once."""

from __future__ import annotations

from math import hypot

from driveout.errors import BadEntry, CannotSay
from driveout.wear.verdict import LifeLeft

# A loss smaller than this many standard deviations of itself says nothing about the rate.
_CLEAR = 2.0


def straight_line_life(
    km: float, before: float, now: float, limit: float, *, sd_before: float, sd_now: float
) -> LifeLeft:
    """Distance until wear along a straight line reaches the limit.

    ``left = km (t1 - tmin) / (t0 - t1)``. The present reading t1 stands above and below the
    line, so its error is counted once through both: the standard deviation is
    ``km sqrt((t0 - tmin)^2 s1^2 + (t1 - tmin)^2 s0^2) / (t0 - t1)^2``. Adding the relative errors of
    numerator and denominator as if they were strangers understates it. First order: holds
    while the loss is several times its own error.

    Parameters
    ----------
    km
        Distance between the two readings. [km]
    before
        Earlier and present thickness. [mm]
    now
        See `before`.
    limit
        Least thickness. [mm]
    sd_before
        Standard deviation of each reading. [mm]
    sd_now
        See `sd_before`.

    Returns
    -------
    LifeLeft
        Distance and standard deviation; 0 when already at or under the limit.

    Raises
    ------
    BadEntry
        If the part is thicker than before, or the distance is not above 0.
    CannotSay
        If the loss cannot be told from the error of the readings.

    References
    ----------
    own-reasoning, docs/method/brakes.md.

    Examples
    --------
    >>> left = straight_line_life(40_000, 12, 7, 1.5, sd_before=0.2, sd_now=0.2)
    >>> round(left.km), round(left.sd_km)
    (44000, 3793)
    """
    if km <= 0:
        raise BadEntry(
            f"The distance between the readings is {km:g} km; it must be above 0.", field="km", value=km
        )
    if now > before + 2 * hypot(sd_before, sd_now):
        raise BadEntry(
            f"{now:g} mm now is thicker than {before:g} mm before. Wear only goes down: was the part renewed, or the "
            "wrong unit written?",
            field="thickness",
            value=now,
            allowed=f"at most {before:g} mm",
        )
    lost = before - now
    if now <= limit:
        return LifeLeft(0.0, 0.0, "at or under the limit already")
    if lost <= _CLEAR * hypot(sd_before, sd_now):
        raise CannotSay(
            f"Only {max(lost, 0):.2f} mm are gone, no more than the readings' own error: too early to tell the rate.",
            missing="a reading after more distance",
        )
    left = km * (now - limit) / lost
    sd = km * hypot((before - limit) * sd_now, (now - limit) * sd_before) / lost**2
    return LifeLeft(left, sd)
