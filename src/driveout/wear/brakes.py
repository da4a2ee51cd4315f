"""Brakes: linings, discs at several points, drums, pedal, hoses; axle pairs are judged together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from driveout.errors import BadEntry, CannotSay
from driveout.wear.life import straight_line_life
from driveout.wear.limits import Limit, limits_of
from driveout.wear.verdict import CLOSE, FAILS, HOLDS, OPEN, Finding, LifeLeft, Verdict, judge

# New pads are 9 to 13 mm thick (from memory); with no earlier reading the first thickness is that wide a guess.
NEW_PAD_MM = 11.0
NEW_PAD_SD_MM = 1.2
# One pad read with a gauge through the wheel (common practice, no source).
PAD_SD_MM = 0.2
# One micrometer reading of a disc, rust and place counted in (common practice, no source).
DISC_SD_MM = 0.03
# The check of the fault network asks for this (common practice, no source).
PAD_FINDING_MM = 4.0
# At half a millimetre the backing plate touches somewhere already (common practice, no source).
BARE_MM = 0.5
_CHANGE = {"front": "rep_brake_front", "rear": "rep_brake_rear"}
DUST = "Treat brake dust as asbestos: never blow or brush it dry; wet it and wipe it up (29 CFR 1910.1001 App F)."


@dataclass(frozen=True)
class Earlier:
    """An earlier reading of the same place; ``sd_mm`` is wide when it is a guess of the new thickness."""

    value_mm: float
    km_since: float
    sd_mm: float = PAD_SD_MM


def axle_of(corner: str) -> str:
    """Front or rear."""
    return "front" if corner.startswith("front") else "rear"


def pad_life(
    km: float, before_mm: float, now_mm: float, limit_mm: float, sd_mm: float = PAD_SD_MM
) -> LifeLeft:
    """Distance left on a pad whose two readings have the same error.

    Parameters
    ----------
    km
        Distance between the readings. [km]
    before_mm
        Earlier, present and least thickness. [mm]
    now_mm
        See `before_mm`.
    limit_mm
        See `before_mm`.
    sd_mm
        Standard deviation of one reading. [mm]

    Returns
    -------
    LifeLeft
        Distance and its standard deviation.

    References
    ----------
    own-reasoning, docs/method/brakes.md.
    """
    return straight_line_life(km, before_mm, now_mm, limit_mm, sd_before=sd_mm, sd_now=sd_mm)


def lining(
    corner: str,
    inner_mm: float | None,
    outer_mm: float | None,
    limits: Sequence[Limit],
    *,
    place: str = "",
    earlier: Earlier | None = None,
    riveted: bool = False,
) -> Verdict:
    """Judge the pads or shoes of one wheel by the thinner of them.

    Parameters
    ----------
    corner
        ``front left``, ``rear right`` ...
    inner_mm
        Friction material left, backing plate not counted. [mm]
    outer_mm
        See `inner_mm`.
    limits
        All limits known for this car.
    place
        Where the car is used.
    earlier
        Earlier thickness of the thinner pad; without it no life is given.
    riveted
        True when measured over the rivet head.

    Returns
    -------
    Verdict
        With life left, the finding for the look through the wheel and the repair of the axle.

    Raises
    ------
    BadEntry
        If no thickness is given.
    """
    readings = [value for value in (inner_mm, outer_mm) if value is not None]
    if not readings:
        raise BadEntry("Neither pad has a thickness.", field="pad_inner")
    thin = min(readings)
    quantity = "lining_riveted_mm" if riveted else "lining_mm"
    known = limits_of(quantity, limits, corner)
    verdict = judge(f"Pads {corner}, thinner one", thin, "mm", known, place=place, close=1.0)
    verdict = verdict.adding(
        findings=(
            Finding(
                "w_brake_visual",
                thin < PAD_FINDING_MM,
                f"Thinner pad {corner} {thin:.1f} mm",
                grade=2 if thin <= BARE_MM else None,
            ),
        ),
        cautions=(DUST,),
    )
    floor = (
        verdict.decided_by.value
        if verdict.decided_by
        else max((limit.value for limit in known if limit.decides), default=None)
    )
    if earlier is not None and floor is not None:
        verdict = _with_life(verdict, thin, floor, earlier)
    if verdict.outcome in (FAILS, CLOSE) or thin < PAD_FINDING_MM:
        verdict = verdict.adding(repairs=(_CHANGE[axle_of(corner)],))
    if len(readings) == 2:
        verdict = _with_slide(verdict, corner, abs(readings[0] - readings[1]), limits)
    return verdict


def _with_life(
    verdict: Verdict, thin: float, floor: float, earlier: Earlier, sd_now: float = PAD_SD_MM
) -> Verdict:
    guess = earlier.sd_mm > 3 * PAD_SD_MM
    try:
        life = straight_line_life(
            earlier.km_since, earlier.value_mm, thin, floor, sd_before=earlier.sd_mm, sd_now=sd_now
        )
    except CannotSay as error:
        return verdict.adding(steps=(error.message,))
    steps = (
        f"{earlier.value_mm:g} mm {earlier.km_since:,.0f} km ago, {thin:g} mm now, least {floor:.2f} mm: "
        f"{earlier.km_since:,.0f} x ({thin:g} - {floor:.2f}) / ({earlier.value_mm:g} - {thin:g}) = {life.km:,.0f} km",
        f"reading error {sd_now:g} mm now and {earlier.sd_mm:g} mm then, shared reading counted once: {life.sd_km:,.0f} km",
    )
    if guess:
        life = LifeLeft(life.km, life.sd_km, "first thickness is a guess: 9 to 13 mm when new, from memory")
    return verdict.adding(life=life, steps=steps, words=f"{verdict.words} It has {life.words()}.")


def _with_slide(verdict: Verdict, corner: str, gap: float, limits: Sequence[Limit]) -> Verdict:
    pair = judge(
        f"Inner against outer pad {corner}", gap, "mm", limits_of("lining_difference_mm", limits, corner)
    )
    uneven = pair.outcome in (FAILS, CLOSE) or (
        pair.outcome == OPEN and any(o.outcome != HOLDS for o in pair.others)
    )
    if not uneven:
        return verdict
    return verdict.adding(
        words=f"{verdict.words} Inner and outer differ by {gap:.1f} mm: look at the slide pins.",
        repairs=("rep_caliper",),
        steps=(pair.words,),
    )


def axle_pair(axle: str, left_mm: float, right_mm: float) -> Verdict:
    """Compare the thinner pads of both wheels of an axle; both sides are always renewed together.

    Parameters
    ----------
    axle
        ``front`` or ``rear``.
    left_mm
        Thinner pad of each side. [mm]
    right_mm
        See `left_mm`.

    Returns
    -------
    Verdict
        Uneven wear points at a seized caliper (common practice, no source; never decides).

    References
    ----------
    common-practice, workshops ask about a difference above 1.5 to 2 mm.
    """
    gap = abs(left_mm - right_mm)
    thin = "left" if left_mm < right_mm else "right"
    uneven = gap > 2.0
    words = (
        f"{axle.capitalize()} axle: {left_mm:.1f} mm left, {right_mm:.1f} mm right, {gap:.1f} mm apart."
        + (
            f" The {thin} side works more: feel its hub after a drive."
            if uneven
            else " Renew both sides together."
        )
    )
    return Verdict(
        f"Pads of the {axle} axle",
        OPEN if uneven else HOLDS,
        gap,
        "mm",
        words=words,
        repairs=("rep_caliper",) if uneven else (),
        steps=("difference above 2 mm is asked about: common practice, no source",),
    )


def disc(
    corner: str,
    points_mm: Sequence[float],
    limits: Sequence[Limit],
    *,
    place: str = "",
    resolution_mm: float = 0.01,
    new_mm: float | None = None,
    earlier: Earlier | None = None,
) -> tuple[Verdict, ...]:
    """Judge a disc from its thickness at several points on one radius.

    Parameters
    ----------
    corner
        ``front left`` ...
    points_mm
        Thickness at each point round the disc. [mm]
    limits
        All limits known for this car; the least thickness is the maker's only.
    place
        Where the car is used.
    resolution_mm
        Smallest step of the micrometer. [mm]
    new_mm
        Thickness when new, if known. [mm]
    earlier
        Earlier least thickness of the same disc.

    Returns
    -------
    tuple of Verdict
        Least thickness, and thickness variation when there are enough points.

    Raises
    ------
    BadEntry
        If a point is thicker than the disc was new, or no point is given.

    References
    ----------
    makers-brake-texts, 4 to 12 points on the same radius; own-reasoning for the resolution rule.
    """
    if not points_mm:
        raise BadEntry("The disc has no thickness reading.", field="disc")
    if new_mm is not None and max(points_mm) > new_mm + 0.3:
        raise BadEntry(
            f"The disc {corner} reads {max(points_mm):g} mm; new it was {new_mm:g} mm. It cannot have grown: check the "
            "unit and close the micrometer on the friction face, not on the rust lip.",
            field="disc",
            value=max(points_mm),
            allowed=f"at most {new_mm:g} mm",
        )
    thin = min(points_mm)
    known = limits_of("disc_mm", limits, corner)
    least = judge(f"Disc {corner}, thinnest of {len(points_mm)}", thin, "mm", known, place=place, close=0.5)
    least = least.adding(
        cautions=(
            "The figure cast on the disc is where it is discarded; the figure to machine to lies about 1.3 to 1.5 mm above.",
        ),
        findings=(Finding("w_brake_visual", True, f"Disc {corner} {thin:.2f} mm, under its least"),)
        if least.outcome == FAILS
        else (),
        repairs=(_CHANGE[axle_of(corner)],) if least.outcome == FAILS else (),
    )
    if not known:
        least = least.adding(words=f"{least.words} The least thickness is cast on the disc's edge or hat.")
    if earlier is not None and least.decided_by is not None:
        least = _with_life(least, thin, least.decided_by.value, earlier, DISC_SD_MM)
    return (least, _variation(corner, points_mm, limits, place, resolution_mm))


def _variation(
    corner: str, points: Sequence[float], limits: Sequence[Limit], place: str, resolution: float
) -> Verdict:
    name = f"Disc {corner}, thickness variation"
    if len(points) < 4:
        return Verdict(
            name,
            OPEN,
            words=f"{name}: needs at least 4 points on one radius, better 12 at 30 degrees; {len(points)} given.",
        )
    spread = max(points) - min(points)
    verdict = judge(name, spread, "mm", limits_of("thickness_variation_mm", limits, corner), place=place)
    decided = verdict.decided_by
    if decided is not None and resolution > decided.value / 5 + 1e-12:
        return Verdict(
            name,
            OPEN,
            spread,
            "mm",
            others=verdict.others,
            words=f"{name}: {spread:.3f} mm, but a micrometer of {resolution:g} mm is too coarse for a limit of "
            f"{decided.value:g} mm. Use one that reads a fifth of it or finer.",
        )
    if verdict.outcome in (FAILS, CLOSE):
        verdict = verdict.adding(
            findings=(
                Finding("d_brake_pull", True, f"Disc {corner} varies by {spread:.3f} mm: the pedal pulses"),
            )
            if verdict.outcome == FAILS
            else (),
            repairs=(_CHANGE[axle_of(corner)],),
        )
    return verdict


def runout(corner: str, runout_mm: float, limits: Sequence[Limit], place: str = "") -> Verdict:
    """Judge the lateral runout of a disc, measured on the car with the nuts on."""
    verdict = judge(
        f"Disc {corner}, runout", runout_mm, "mm", limits_of("disc_runout_mm", limits, corner), place=place
    )
    return verdict.adding(
        cautions=("Clean the hub face and turn the disc on its studs before blaming the disc.",),
        repairs=(_CHANGE[axle_of(corner)],) if verdict.outcome == FAILS else (),
    )


def scoring(corner: str, depth_mm: float, limits: Sequence[Limit], place: str = "") -> Verdict:
    """Judge the depth of scores in a disc; makers differ fourfold."""
    verdict = judge(
        f"Disc {corner}, scores", depth_mm, "mm", limits_of("scoring_mm", limits, corner), place=place
    )
    return verdict.adding(repairs=(_CHANGE[axle_of(corner)],) if verdict.outcome == FAILS else ())


def pipe(corner: str, lost_mm: float, limits: Sequence[Limit], place: str = "") -> Verdict:
    """Judge a steel brake pipe by the wall it has lost to rust."""
    verdict = judge(
        f"Brake pipe {corner}", lost_mm, "mm", limits_of("pipe_loss_mm", limits, corner), place=place
    )
    bad = verdict.outcome == FAILS
    return verdict.adding(
        findings=(Finding("u_brake_lines", True, f"Brake pipe {corner} lost {lost_mm:g} mm of wall"),)
        if bad
        else (),
        repairs=("rep_brake_line",) if bad else (),
    )


def drum(corner: str, diameter_mm: float, limits: Sequence[Limit], place: str = "") -> Verdict:
    """Judge a drum by the greatest diameter cast on it."""
    verdict = judge(
        f"Drum {corner}", diameter_mm, "mm", limits_of("drum_mm", limits, corner), place=place, close=0.3
    )
    if verdict.decided_by is None:
        verdict = verdict.adding(words=f"{verdict.words} The greatest diameter is cast on the drum.")
    return verdict.adding(
        cautions=(DUST,), repairs=(_CHANGE[axle_of(corner)],) if verdict.outcome == FAILS else ()
    )


def pedal_travel(free_mm: float, pressed_mm: float) -> float:
    """Share of its free height that the pedal travels, ``(A - B) / A``.

    Parameters
    ----------
    free_mm
        Height of the free pedal over the floor. [mm]
    pressed_mm
        Height held down. [mm]

    Returns
    -------
    float
        Travel in percent of the free height.

    Raises
    ------
    BadEntry
        If the pressed height is above the free one, or the free height is 0.

    References
    ----------
    cfr-49-570, 570.55(c) wording.

    Examples
    --------
    >>> pedal_travel(150, 30)
    80.0
    """
    if free_mm <= 0 or not 0 <= pressed_mm <= free_mm:
        raise BadEntry(
            f"The pedal stands {free_mm:g} mm high and {pressed_mm:g} mm pressed; pressed must be between 0 and the free height.",
            field="pedal_pressed",
            value=pressed_mm,
            allowed=f"0 to {free_mm:g} mm",
        )
    return 100.0 * (free_mm - pressed_mm) / free_mm


def pedal(
    free_mm: float,
    pressed_mm: float,
    sinks: bool,
    servo_drops: bool | None,
    limits: Sequence[Limit],
    place: str = "",
) -> Verdict:
    """Judge the pedal: reserve, holding for 10 s under 556 N, and the servo test.

    Parameters
    ----------
    free_mm
        Height over the floor free and under 556 N (125 lbf). [mm]
    pressed_mm
        See `free_mm`.
    sinks
        Whether it goes on sinking, or the lamp lights, within 10 s.
    servo_drops
        Whether it drops when the engine starts after the vacuum was used up; None when not tried.
    limits
        All limits known for this car.
    place
        Where the car is used.

    Returns
    -------
    Verdict
        Sinking fails whatever the reserve.

    References
    ----------
    rcw-46-37-360, pedal integrity; nac-484d, 484D.120, servo.
    """
    verdict = judge(
        "Brake pedal travel",
        pedal_travel(free_mm, pressed_mm),
        "percent",
        limits_of("pedal_travel_percent", limits),
        place=place,
    )
    if sinks:
        verdict = verdict.adding(
            outcome=FAILS,
            words="The pedal sinks under steady force: a leak outside, or inside the master cylinder. Do not drive it.",
            findings=(Finding("d_brake_pull", True, "Pedal sinks under steady force"),),
            repairs=("rep_brake_line",),
        )
    if servo_drops is False:
        verdict = verdict.adding(
            outcome=FAILS,
            words=f"{verdict.words} The pedal does not drop when the engine starts: the servo gives no help.",
        )
    return verdict


def stopping_deceleration(speed_mph: float, distance_ft: float) -> float:
    """Mean deceleration of a stop, ``v^2 / 2s``. [m/s2].

    Parameters
    ----------
    speed_mph
        Speed before braking. [mph]
    distance_ft
        Distance to standstill. [ft]

    Returns
    -------
    float
        Deceleration. [m/s2]

    Raises
    ------
    BadEntry
        If the distance is not above 0.
    """
    if distance_ft <= 0:
        raise BadEntry("The stopping distance must be above 0.", field="distance", value=distance_ft)
    speed = speed_mph * 0.44704
    return speed**2 / (2 * distance_ft * 0.3048)


HOSE_FAULTS = ("touches the body", "cracked", "chafed", "flattened", "abraded", "leaking")


def hoses(corner: str, seen: Sequence[str], reinforcement_shows: bool, place: str = "") -> Verdict:
    """Judge a brake hose by what is seen.

    Parameters
    ----------
    corner
        ``front left`` ...
    seen
        Any of `HOSE_FAULTS`.
    reinforcement_shows
        Whether the cords show.
    place
        Where the car is used: Great Britain rejects only a hose whose reinforcement shows.

    Returns
    -------
    Verdict
        With what each rule says where they differ.

    Raises
    ------
    BadEntry
        If something seen is not on the list.

    References
    ----------
    rcw-46-37-360, hoses; uk-inspection-manual, hoses.
    """
    for fault in seen:
        if fault not in HOSE_FAULTS:
            raise BadEntry(
                f"{fault!r} is not on the list.", field="hose", value=fault, allowed=", ".join(HOSE_FAULTS)
            )
    fails = reinforcement_shows or "leaking" in seen or (bool(seen) and not place.startswith("gb"))
    words = f"Hose {corner}: " + (", ".join(seen) or "nothing seen") + "."
    if seen and not reinforcement_shows and "leaking" not in seen:
        words += " The US wording rejects it; the British manual only when the reinforcement shows."
    outcome = FAILS if fails else CLOSE if seen else HOLDS
    return Verdict(
        f"Brake hose {corner}",
        outcome,
        words=words,
        findings=(Finding("u_brake_lines", True, words),) if fails else (),
        repairs=("rep_brake_line",) if fails else (),
    )
