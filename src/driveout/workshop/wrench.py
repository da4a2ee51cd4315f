"""The torque wrench: its range, its error, and what an extension does to its setting."""

from __future__ import annotations

import math

from driveout.errors import BadEntry

LOWEST_USE = 0.20
"""Share of the largest value below which the older standard does not vouch for it (iso-6789)."""


def wrench_setting(target_nm: float, lever_mm: float, extension_mm: float, angle_deg: float = 0.0) -> float:
    """Setting that gives the target when an extension moves the socket off the wrench's head.

    setting = target L / (L + E cos angle). A straight socket extension needs no correction.

    Parameters
    ----------
    target_nm
        Torque wanted at the fastener. [N·m]
    lever_mm
        From the square drive to the middle of the hand grip. [mm]
    extension_mm
        From the square drive to the fastener. [mm]
    angle_deg
        Angle between extension and wrench: 0 straight on, 90 square to it, 180 folded back.

    Returns
    -------
    float
        Value to set on the wrench. [N·m]

    Raises
    ------
    BadEntry
        If a length is not above 0, or the extension folds back past the grip.

    References
    ----------
    own-reasoning: balance of moments, docs/method/tightening.md.

    Examples
    --------
    >>> round(wrench_setting(80, 400, 50), 1)
    71.1
    """
    if lever_mm <= 0 or extension_mm < 0 or target_nm <= 0:
        raise BadEntry(
            f"Lever {lever_mm:g} mm, extension {extension_mm:g} mm and target {target_nm:g} N·m must be above 0.",
            field="lever_mm",
            value=lever_mm,
        )
    reach = lever_mm + extension_mm * math.cos(math.radians(angle_deg))
    if reach <= 0:
        raise BadEntry(
            "The extension folds back past the hand grip; use it straight on or square to the wrench.",
            field="angle_deg",
            value=angle_deg,
        )
    return target_nm * lever_mm / reach


def wrench_error_percent(largest_nm: float) -> float:
    """Error allowed to a setting wrench, in percent: 6 up to 10 N·m, 4 above (iso-6789)."""
    return 6.0 if largest_nm <= 10 else 4.0


def wrench_remarks(
    target_nm: float, largest_nm: float, lowest_marked_nm: float | None = None
) -> tuple[str, ...]:
    """What to say about using this wrench for this value.

    Parameters
    ----------
    target_nm
        Torque to set. [N·m]
    largest_nm
        Top of its scale. [N·m]
    lowest_marked_nm
        Lowest value on its scale, when known. [N·m]

    Returns
    -------
    tuple of str
        Empty when it fits.

    Raises
    ------
    BadEntry
        If the value is beyond the wrench's scale: it would be damaged or not click.

    References
    ----------
    iso-6789: parts 2003 (20 % of the top) and 2017 (lowest marked value).
    """
    if target_nm > largest_nm:
        raise BadEntry(
            f"{target_nm:g} N·m is above this wrench's {largest_nm:g} N·m. Take a larger one.",
            field="wrench",
            value=target_nm,
            allowed=f"up to {largest_nm:g} N·m",
        )
    if lowest_marked_nm is not None and target_nm < lowest_marked_nm:
        raise BadEntry(
            f"{target_nm:g} N·m is below this wrench's lowest mark of {lowest_marked_nm:g} N·m. Take a smaller one.",
            field="wrench",
            value=target_nm,
            allowed=f"from {lowest_marked_nm:g} N·m",
        )
    if target_nm < LOWEST_USE * largest_nm:
        return (
            f"{target_nm:g} N·m is under 20 % of this wrench's {largest_nm:g} N·m, where its error is not vouched "
            "for by the older standard. A smaller wrench is better.",
        )
    return ()
