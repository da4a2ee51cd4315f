"""Battery and charging: state of charge from rest voltage as a band, cranking, charging, current asleep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from driveout.errors import BadEntry, CannotSay
from driveout.files import shipped, yaml_document
from driveout.wear.limits import Limit, limits_of
from driveout.wear.verdict import CLOSE, FAILS, OPEN, Finding, Verdict, judge

# Checks of the fault network ask for these (common practice, no source).
REST_FINDING_V, CRANK_FINDING_V = 12.3, 9.6
CHARGE_FINDING_V = (13.5, 14.8)
SLEEP_FINDING_MA = 80.0


@cache
def battery_data() -> dict[str, Any]:
    """The shipped tables about batteries."""
    data: dict[str, Any] = yaml_document(shipped("driveout.wear", "data/battery.yaml"), "battery.yaml").data
    return data


def along(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """Straight line between printed points, held at the ends.

    Parameters
    ----------
    x
        Where.
    xs
        Printed points, xs rising.
    ys
        See `xs`.

    Returns
    -------
    float
        Value there.
    """
    if x <= xs[0]:
        return float(ys[0])
    for left in range(len(xs) - 1):
        if x <= xs[left + 1]:
            share = (x - xs[left]) / (xs[left + 1] - xs[left])
            return float(ys[left] + share * (ys[left + 1] - ys[left]))
    return float(ys[-1])


@dataclass(frozen=True)
class Charge:
    """State of charge as a band between published tables. [%]."""

    low_percent: float
    high_percent: float
    note: str = ""


def state_of_charge(rest_v: float, *, glass_mat: bool = False, rested_hours: float | None = None) -> Charge:
    """State of charge of a resting battery; tables differ, so both ends are given.

    Parameters
    ----------
    rest_v
        Voltage at rest, nothing drawn. [V]
    glass_mat
        True for a battery whose acid is held in glass mat; it reads 0.1 to 0.2 V higher.
    rested_hours
        Time since it was charged or driven; None when not known. [h]

    Returns
    -------
    Charge
        Band.

    Raises
    ------
    BadEntry
        If no resting 12 V battery has that voltage.
    CannotSay
        If it has not rested: surface charge reads too high.

    References
    ----------
    bci-battery, 26.7 C, flooded; battery-second-table.

    Examples
    --------
    >>> state_of_charge(12.24).high_percent
    55.0
    """
    if not 5.0 <= rest_v <= 15.5:
        raise BadEntry(
            f"{rest_v:g} V is no 12 V battery at rest.", field="rest", value=rest_v, allowed="5 to 15.5 V"
        )
    if rest_v > 13.0:
        raise CannotSay(
            f"{rest_v:g} V is above any resting battery: it was charged or driven just now.",
            missing="a rest of 6 hours or more",
        )
    data = battery_data()
    least = float(data["rest_hours"]["least"])
    note = ""
    if rested_hours is not None and rested_hours < least:
        note = f"rested {rested_hours:g} h of {least:g} h: reads too high"
    ends = []
    for name in ("bci", "second"):
        volts = list(reversed([float(v) for v in data[name]["rest_v"]]))
        charge = list(reversed([float(v) for v in data[name]["charge_percent"]]))
        shifts: tuple[float, ...] = (0.0,)
        if glass_mat:
            higher = data["glass_mat_higher_v"]
            shifts = (float(higher["least"]), float(higher["most"]))
        ends += [along(rest_v - shift, volts, charge) for shift in shifts]
    return Charge(min(ends), max(ends), note)


def rest_voltage(charge_percent: float) -> float:
    """Rest voltage of a flooded battery at a state of charge, the first table. [V].

    References
    ----------
    bci-battery, 26.7 C.
    """
    data = battery_data()["bci"]
    return along(
        charge_percent,
        list(reversed([float(v) for v in data["charge_percent"]])),
        list(reversed([float(v) for v in data["rest_v"]])),
    )


def voltage_from_gravity(gravity: float) -> float:
    """Rule of thumb from the acid's specific gravity, ``6 (SG + 0.845)``; up to 0.1 V off the table. [V]."""
    return 6.0 * (gravity + 0.845)


def battery_verdict(
    rest_v: float | None,
    crank_v: float | None,
    charge_v: float | None,
    limits: Sequence[Limit],
    *,
    glass_mat: bool = False,
    rested_hours: float | None = None,
) -> tuple[Verdict, ...]:
    """Judge battery and charging from three voltages.

    Parameters
    ----------
    rest_v
        At rest, while cranking, running with lights on; each may be missing. [V]
    crank_v
        See `rest_v`.
    charge_v
        See `rest_v`.
    limits
        All limits known for this car.
    glass_mat
        Kind of battery.
    rested_hours
        Time since charge or drive. [h]

    Returns
    -------
    tuple of Verdict
        One per voltage given.
    """
    verdicts = []
    if rest_v is not None:
        verdicts.append(_rest(rest_v, limits, glass_mat, rested_hours))
    if crank_v is not None:
        verdict = judge("Battery while cranking", crank_v, "v", limits_of("crank_v", limits))
        weak = crank_v < CRANK_FINDING_V
        verdicts.append(
            verdict.adding(
                findings=(Finding("b_battery_rest", weak, f"{crank_v:g} V while cranking"),),
                repairs=("rep_battery", "rep_starter") if weak else (),
            )
        )
    if charge_v is not None:
        verdict = judge("Charging, lights on", charge_v, "v", limits_of("charge_v", limits))
        off = not CHARGE_FINDING_V[0] <= charge_v <= CHARGE_FINDING_V[1]
        verdicts.append(
            verdict.adding(
                findings=(Finding("s_charge_volt", off, f"{charge_v:g} V running"),),
                repairs=("rep_alternator",) if off else (),
            )
        )
    return tuple(verdicts)


def _rest(rest_v: float, limits: Sequence[Limit], glass_mat: bool, rested_hours: float | None) -> Verdict:
    try:
        charge = state_of_charge(rest_v, glass_mat=glass_mat, rested_hours=rested_hours)
    except CannotSay as error:
        return Verdict("Battery at rest", OPEN, rest_v, "v", words=error.message)
    verdict = judge("Battery at rest", rest_v, "v", limits_of("rest_v", limits))
    low = rest_v < REST_FINDING_V
    words = f"{verdict.words} Charged {charge.low_percent:.0f} to {charge.high_percent:.0f} %. {charge.note}".strip()
    return verdict.adding(
        words=words,
        outcome=OPEN if charge.note and verdict.outcome not in (FAILS, CLOSE) else verdict.outcome,
        findings=(Finding("b_battery_rest", low, f"{rest_v:g} V at rest"),),
        repairs=("rep_battery",) if verdict.outcome == FAILS else (),
        steps=("two tables differ by up to 0.1 V; a meter of 1 % is worth 15 % of charge either way",),
        cautions=("Batteries give off explosive gas: no sparks, glasses on.",),
    )


def days_until(capacity_ah: float, drain_ma: float, share: float = 1.0) -> float:
    """Days in which a steady drain takes a share of the capacity.

    Parameters
    ----------
    capacity_ah
        Capacity. [Ah]
    drain_ma
        Current. [mA]
    share
        Part of the capacity, 1 for all of it.

    Returns
    -------
    float
        Days.

    Raises
    ------
    BadEntry
        If the drain is not above 0.

    Examples
    --------
    >>> days_until(60, 500)
    5.0
    """
    if drain_ma <= 0:
        raise BadEntry("The drain must be above 0.", field="drain", value=drain_ma, allowed="above 0 mA")
    return capacity_ah * share / (drain_ma / 1000.0) / 24.0


def sleep_current(
    drain_ma: float, waited_minutes: float, capacity_ah: float, limits: Sequence[Limit]
) -> Verdict:
    """Judge the current a sleeping car draws.

    Parameters
    ----------
    drain_ma
        Current. [mA]
    waited_minutes
        Time since the car was locked. [min]
    capacity_ah
        Battery capacity. [Ah]
    limits
        All limits known for this car.

    Returns
    -------
    Verdict
        Open when it was measured before the car slept.

    References
    ----------
    sleep-current-pages, 20 to 50 mA; common-practice, waiting 20 to 60 minutes.
    """
    verdict = judge("Current asleep", drain_ma, "ma", limits_of("sleep_ma", limits))
    if waited_minutes < 20 and drain_ma > 20:
        return verdict.adding(
            outcome=OPEN,
            words=f"{drain_ma:g} mA after {waited_minutes:g} min: control units may be awake still. Wait 20 to 60 min.",
        )
    half = days_until(capacity_ah, drain_ma, 0.5) if drain_ma > 0 else float("inf")
    drains = drain_ma > SLEEP_FINDING_MA
    words = verdict.words + (
        f" Half of {capacity_ah:g} Ah is gone in {half:.0f} days." if drain_ma > 0 else ""
    )
    return verdict.adding(
        words=words,
        findings=(Finding("s_draw", drains, f"{drain_ma:g} mA asleep"),),
        repairs=("rep_drain_hunt",) if drains or verdict.outcome == FAILS else (),
    )


def cranking_norm(norm: str) -> dict[str, float]:
    """Conditions of a cold-cranking rating; figures of different norms are not interchangeable.

    Parameters
    ----------
    norm
        ``SAE``, ``EN``, ``DIN``, ``IEC`` or ``CA``.

    Returns
    -------
    dict
        Temperature, seconds, least voltage.

    Raises
    ------
    BadEntry
        If the norm is not named: a bare number of ampere says nothing.

    References
    ----------
    sae-j537, and the norms quoted beside it.
    """
    norms = {key: value for key, value in battery_data()["cranking_norms"].items() if isinstance(value, dict)}
    if norm.upper() not in norms:
        raise BadEntry(
            f"{norm!r} is no norm. The label must name it beside the ampere.",
            field="norm",
            value=norm,
            allowed=", ".join(norms),
        )
    return {key: float(value) for key, value in norms[norm.upper()].items()}
