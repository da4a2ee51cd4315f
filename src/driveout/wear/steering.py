"""Steering and suspension: lash by wheel diameter, linkage play, toe, what is seen."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from math import pi

from driveout.errors import BadEntry
from driveout.files import shipped, yaml_document
from driveout.wear.limits import Limit, limits_of
from driveout.wear.typed import read_quantity
from driveout.wear.verdict import CLOSE, FAILS, HOLDS, OPEN, Finding, Verdict, judge

_INCH = 25.4
# 570.7(a): two inches at or below a 16-inch wheel, an eighth of the diameter above.
_SMALL_WHEEL_IN = 16.0


@cache
def lash_table() -> dict[float, float]:
    """Printed rows of the lash table: wheel diameter to rim travel, both in inches."""
    rows = yaml_document(shipped("driveout.wear", "data/lash.yaml"), "lash.yaml").data["car_inches"]
    return {float(wheel): read_quantity(str(text), "mm") / _INCH for wheel, text in rows.items()}


def lash_limit_mm(wheel_mm: float) -> float:
    """Rim travel that a steering wheel of this diameter may have before the road wheels move.

    2 in up to a 16-inch wheel, an eighth of the diameter above: the printed rows are exactly that.

    Parameters
    ----------
    wheel_mm
        Diameter of the steering wheel. [mm]

    Returns
    -------
    float
        Greatest rim travel. [mm]

    Raises
    ------
    BadEntry
        If no steering wheel has that diameter.

    References
    ----------
    cfr-49-570, 570.7(a) table 1.

    Examples
    --------
    >>> lash_limit_mm(18 * 25.4) / 25.4
    2.25
    """
    if not 250 <= wheel_mm <= 560:
        raise BadEntry(
            f"A steering wheel of {wheel_mm:g} mm is outside 250 to 560 mm. Measure across the rim, outside to outside.",
            field="wheel_diameter",
            value=wheel_mm,
            allowed="250 to 560 mm",
        )
    return max(wheel_mm, _SMALL_WHEEL_IN * _INCH) / 8.0


@cache
def _lash_contrasts() -> tuple[Limit, ...]:
    """Tables of other vehicles and places: shown, never applied to a car elsewhere."""
    data = yaml_document(shipped("driveout.wear", "data/lash.yaml"), "lash.yaml").data
    return tuple(
        Limit(
            f"lash-{row['key']}",
            "lash_mm",
            read_quantity(str(row["value"]), "mm"),
            f"{row['value']} on a 16 in wheel",
            "most",
            "regulation",
            str(row["jurisdiction"]),
            str(row["source"]),
            str(row["place"]),
            how_known=str(row["how_known"]),
            decides=False,
            note=str(row["what"]),
        )
        for row in data["contrasts"]
    )


def lash_limits(wheel_mm: float, limits: Sequence[Limit] = ()) -> tuple[Limit, ...]:
    """All limits of the lash: the maker's and own ones, the car table at this wheel, and the contrasts."""
    inches = lash_limit_mm(wheel_mm) / _INCH
    car = Limit(
        "lash-us",
        "lash_mm",
        lash_limit_mm(wheel_mm),
        f"{inches:.2f} in",
        "most",
        "regulation",
        "us",
        "cfr-49-570",
        "570.7(a) table 1",
    )
    return (*limits_of("lash_mm", limits), car, *_lash_contrasts())


def lash(
    rim_travel_mm: float,
    wheel_mm: float,
    *,
    engine_on: bool = True,
    power_assisted: bool = True,
    limits: Sequence[Limit] = (),
    place: str = "",
) -> Verdict:
    """Judge the free travel at the rim of the steering wheel.

    Parameters
    ----------
    rim_travel_mm
        Travel at the rim before a front wheel moves. [mm]
    wheel_mm
        Diameter of the steering wheel. [mm]
    engine_on
        Whether the engine ran while it was measured.
    power_assisted
        Whether the steering has assistance; it is then measured with the engine on.
    limits
        All limits known for this car; a maker's one of ``lash_mm`` decides.
    place
        Where the car is used.

    Returns
    -------
    Verdict
        The car table only; tables for trucks allow more and are never mixed in.

    References
    ----------
    cfr-49-570, 570.7(a).
    """
    known = lash_limits(wheel_mm, limits)
    verdict = judge("Steering wheel lash at the rim", rim_travel_mm, "mm", known, place=place, close=12.0)
    angle = rim_travel_mm / (pi * wheel_mm) * 360
    verdict = verdict.adding(
        steps=(f"{rim_travel_mm:g} mm on a {wheel_mm:g} mm wheel is {angle:.1f} degrees; 14.3 allowed",)
    )
    if power_assisted and not engine_on:
        return verdict.adding(
            outcome=OPEN, words="Measure it again with the engine running: the steering is power assisted."
        )
    worn = verdict.outcome == FAILS
    return verdict.adding(
        findings=(Finding("u_rock_3_9", worn, verdict.words),) if worn else (),
        repairs=("rep_tie_rod", "rep_steer_rack") if worn else (),
    )


PLAY_PLACES = {
    "tie rod": ("u_rock_3_9", "rep_tie_rod"),
    "ball joint": ("u_rock_12_6", "rep_ball_joint"),
    "wheel bearing": ("u_rock_12_6", "rep_wheel_bearing"),
    "bush": ("u_bush_pry", "rep_control_arm"),
}


def play(corner: str, play_mm: float, where: str, limits: Sequence[Limit], place: str = "") -> Verdict:
    """Judge play felt by rocking a raised wheel, measured at the tread.

    Parameters
    ----------
    corner
        ``front left`` ...
    play_mm
        Movement at the tread, front or rear of the tyre. [mm]
    where
        Joint seen to move, one of `PLAY_PLACES`; empty when not seen.
    limits
        All limits known for this car.
    place
        Where the car is used.

    Returns
    -------
    Verdict
        With the finding for the joint that moved.

    Raises
    ------
    BadEntry
        If the joint is not on the list.

    References
    ----------
    cfr-49-570, 570.7(b).
    """
    if where and where not in PLAY_PLACES:
        raise BadEntry(
            f"{where!r} is not on the list.", field="joint", value=where, allowed=", ".join(PLAY_PLACES)
        )
    verdict = judge(
        f"Play {corner}", play_mm, "mm", limits_of("play_mm", limits, corner), place=place, close=3.0
    )
    worn = verdict.outcome == FAILS
    check, repair = PLAY_PLACES.get(where, ("u_rock_3_9", ""))
    return verdict.adding(
        findings=(Finding(check, worn, f"{play_mm:g} mm of play {corner}{', ' + where if where else ''}"),),
        repairs=(repair,) if worn and repair else (),
        cautions=("Never work under a car held only by a jack: stands on firm ground, wheels chocked.",),
    )


def toe(measured: float, specified: float, limits: Sequence[Limit], place: str = "") -> Verdict:
    """Judge toe against the maker's value; 1.5 times it fails.

    Parameters
    ----------
    measured
        Toe in one and the same unit, sign included.
    specified
        See `measured`.
    limits
        All limits known for this car.
    place
        Where the car is used.

    Returns
    -------
    Verdict
        `OPEN` when the maker asks for 0: a multiple of nothing judges nothing.

    References
    ----------
    cfr-49-570, 570.7(d).
    """
    if specified == 0:
        return Verdict(
            "Toe",
            OPEN,
            measured,
            words="The maker asks for 0, so a multiple of it cannot be judged. Use the maker's own tolerance.",
        )
    ratio = abs(measured / specified)
    verdict = judge(
        "Toe against the maker's value", ratio, "times", limits_of("toe_times", limits), place=place
    )
    return verdict.adding(
        steps=(f"{measured:g} / {specified:g} = {ratio:.2f}; pairs with edge wear of the tyres",)
    )


SUSPENSION = (
    "seal leaking",
    "structure bent or cracked",
    "stabiliser loose",
    "spring broken or with a spacer",
    "shock absorber loose or leaking",
    "bush torn",
    "radius rod bent",
)
_SUSPENSION_MEANS = {
    "seal leaking": ("u_boot_torn", "rep_ball_joint"),
    "structure bent or cracked": ("u_rail_straight", ""),
    "stabiliser loose": ("d_clunk_bump", "rep_control_arm"),
    "spring broken or with a spacer": ("u_damper_wet", "rep_struts"),
    "shock absorber loose or leaking": ("u_damper_wet", "rep_struts"),
    "bush torn": ("u_bush_pry", "rep_control_arm"),
    "radius rod bent": ("u_bush_pry", "rep_control_arm"),
}


def suspension(corner: str, seen: Sequence[str]) -> Verdict:
    """Judge the suspension of one corner by the list of the inspection rule; it has no numbers.

    Parameters
    ----------
    corner
        ``front left`` ...
    seen
        Any of `SUSPENSION`.

    Returns
    -------
    Verdict
        Fails when anything is seen.

    Raises
    ------
    BadEntry
        If something seen is not on the list.

    References
    ----------
    rcw-46-37-375, which copies 49 CFR 570.8.
    """
    findings: list[Finding] = []
    repairs: list[str] = []
    for fault in seen:
        if fault not in SUSPENSION:
            raise BadEntry(
                f"{fault!r} is not on the list.",
                field="suspension",
                value=fault,
                allowed=", ".join(SUSPENSION),
            )
        check, repair = _SUSPENSION_MEANS[fault]
        findings.append(Finding(check, True, f"{corner}: {fault}"))
        repairs += [repair] if repair else []
    words = f"Suspension {corner}: {', '.join(seen) or 'nothing seen'}."
    return Verdict(
        f"Suspension {corner}",
        FAILS if seen else HOLDS,
        words=words,
        findings=tuple(findings),
        repairs=tuple(dict.fromkeys(repairs)),
    )


def free_turn(binds: bool) -> Verdict:
    """Judge the turn from lock to lock: no binding (570.7(c))."""
    return Verdict(
        "Steering lock to lock",
        FAILS if binds else HOLDS,
        words="It binds between the locks." if binds else "Turns freely from lock to lock.",
        repairs=("rep_steer_rack",) if binds else (),
    )


def ride_height(left_mm: float, right_mm: float, axle: str, rebounds: float | None) -> Verdict:
    """Compare both corners of an axle and count rebounds after a push (common practice, no source)."""
    gap = abs(left_mm - right_mm)
    bad = gap > 15 or (rebounds is not None and rebounds > 1.5)
    words = f"{axle.capitalize()} ride height {left_mm:g} / {right_mm:g} mm" + (
        f", {rebounds:g} rebounds." if rebounds is not None else "."
    )
    return Verdict(
        f"Ride height {axle}",
        CLOSE if bad else HOLDS,
        gap,
        "mm",
        words=words,
        findings=(Finding("w_ride_height", True, words),) if bad else (),
        repairs=("rep_struts",) if bad else (),
    )
