"""Readings of the steering, the pedal, a tester's print and the ride height."""

from __future__ import annotations

from typing import Any

from driveout.errors import BadEntry
from driveout.wear import brakes, steering
from driveout.wear.limits import limits_of
from driveout.wear.reading import Given
from driveout.wear.verdict import Verdict, judge


def steering_verdicts(given: Given, got: dict[str, Any]) -> list[Verdict]:
    """Judge lash, binding, toe, pedal, a tester's print and ride heights."""
    found: list[Verdict] = []
    if "lash" in got:
        found.append(
            steering.lash(
                got["lash"],
                got.get("wheel", 380.0),
                engine_on=got.get("engine_on", "yes") == "yes",
                power_assisted=got.get("power", "yes") == "yes",
                limits=given.limits,
                place=given.place,
            )
        )
    if "binds" in got:
        found.append(steering.free_turn(got["binds"] == "yes"))
    if "toe" in got:
        if "toe_spec" not in got:
            raise BadEntry("Toe is judged against the maker's value; enter it too.", field="toe_spec")
        found.append(steering.toe(got["toe"], got["toe_spec"], given.limits, given.place))
    if "pedal_free" in got and "pedal_pressed" in got:
        servo = {"yes": True, "no": False}.get(got.get("servo", ""))
        found.append(
            brakes.pedal(
                got["pedal_free"],
                got["pedal_pressed"],
                got.get("sinks") == "yes",
                servo,
                given.limits,
                given.place,
            )
        )
    for name, quantity, what in (
        ("difference", "brake_difference_percent", "Left to right brake difference"),
        ("efficiency", "brake_efficiency_percent", "Service brake efficiency"),
        ("parking", "park_efficiency_percent", "Parking brake efficiency"),
    ):
        if name in got:
            known = limits_of(quantity, given.limits)
            found.append(judge(what, got[name], "percent", known, place=given.place))
    for axle, mark in (("front", "f"), ("rear", "r")):
        left, right = got.get(f"height_{mark}l"), got.get(f"height_{mark}r")
        if left is not None and right is not None:
            found.append(steering.ride_height(left, right, axle, None))
    return found
