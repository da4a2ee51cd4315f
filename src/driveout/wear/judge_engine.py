"""Readings of the engine, its battery and its fluids."""

from __future__ import annotations

from typing import Any

from driveout.wear import battery, compression, coolant, trouble_codes
from driveout.wear.brake_fluid import fluid_verdict
from driveout.wear.reading import Given, seen
from driveout.wear.verdict import Verdict


def engine_verdicts(given: Given, got: dict[str, Any]) -> list[Verdict]:
    """Judge compression, leak-down, pressures, looks and trouble codes."""
    found: list[Verdict] = []
    limits = given.limits
    if "dry" in got:
        found.append(
            compression.compression(
                got["dry"],
                limits,
                wet_kpa=got.get("wet"),
                altitude_m=float(given.setup.get("altitude", 0.0)),
            )
        )
    found += [
        compression.leak_down(cylinder, percent, got.get("escape", "") if percent > 10 else "", limits)
        for cylinder, percent in got.get("leak", {}).items()
    ]
    if "oil_pressure" in got:
        found.append(compression.oil_pressure(got["oil_pressure"], got.get("oil_rpm", 800.0), limits))
    if "cooling_drop" in got:
        found.append(
            compression.cooling_pressure(got["cooling_drop"], got.get("cooling_minutes", 10.0), limits)
        )
    if "plug_hole" in got:
        found.append(compression.plug_hole_look(got["plug_hole"]))
    for name, check, what in (
        ("oil_glitter", "b_oil_glitter", "Metal glitter in the oil"),
        ("oil_cream", "b_cap_emulsion", "Cream under the oil cap"),
    ):
        found += seen(got, name, check, what)
    if "codes" in got or "reply" in got or "not_ready" in got:
        found.append(_codes(given, got))
    return found


def _codes(given: Given, got: dict[str, Any]) -> Verdict:
    codes: tuple[trouble_codes.TroubleCode, ...] = ()
    text = str(got.get("codes", ""))
    if text and text.strip().lower() not in ("none", "no", "-"):
        codes = trouble_codes.read_codes(text)
    if "reply" in got:
        codes += trouble_codes.codes_from_reply(got["reply"])[1]
    return trouble_codes.codes_verdict(tuple(dict.fromkeys(codes)), bool(got.get("not_ready")))


def battery_verdicts(given: Given, got: dict[str, Any]) -> list[Verdict]:
    """Judge the battery at rest, cranking and charging, and the current asleep."""
    found = list(
        battery.battery_verdict(
            got.get("rest"),
            got.get("crank"),
            got.get("charge"),
            given.limits,
            glass_mat=got.get("kind") == "glass mat",
            rested_hours=got.get("rested"),
        )
    )
    if "drain" in got:
        found.append(
            battery.sleep_current(
                got["drain"], got.get("waited", 30.0), got.get("capacity", 60.0), given.limits
            )
        )
    return found


def fluid_verdicts(given: Given, got: dict[str, Any]) -> list[Verdict]:
    """Judge coolant, brake fluid, steering fluid and the oil level."""
    found: list[Verdict] = []
    if "glycol_percent" in got:
        verdict = coolant.coolant_verdict(
            got["glycol_percent"],
            float(given.setup.get("coldest", -20.0)),
            given.limits,
            glycol=got.get("glycol", "ethylene"),
            looks_bad=got.get("coolant_bad") == "yes",
        )
        found.append(_mixing(given, verdict, got))
    elif "coolant_bad" in got:
        found += seen(got, "coolant_bad", "b_coolant_look", "Coolant low, oily, rusty or plain water")
    if "fluid" in got:
        found.append(
            fluid_verdict(
                got["fluid"],
                got.get("water"),
                bool(got.get("fluid_low")),
                bool(got.get("fluid_black")),
                given.limits,
                asked=str(given.setup.get("fluid_asked", "")),
            )
        )
    found += seen(got, "steer_bad", "b_steer_fluid", "Steering fluid low, dark or foamy")
    found += seen(got, "oil_low", "b_oil_level", "Engine oil at or below minimum")
    return found


def _mixing(given: Given, verdict: Verdict, got: dict[str, Any]) -> Verdict:
    now, wanted, system = got["glycol_percent"], got.get("wanted_percent"), got.get("system")
    if wanted is None or system is None or wanted <= now:
        return verdict
    litres = coolant.litres_to_replace(system, now, wanted)
    steps = [
        f"drain {litres:.2f} l and fill the same with pure glycol: {now:g} to {wanted:g} % in {system:g} l"
    ]
    if "drained" in got:
        after = coolant.after_refills(system, now, got["drained"], 50.0, 4)
        steps.append(
            f"each drain of {got['drained']:g} l refilled with 50 % mix: "
            + ", ".join(f"{c:.1f} %" for c in after)
        )
    return verdict.adding(steps=tuple(steps))
