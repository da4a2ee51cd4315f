"""Assemblies where the order guards people: refrigerant and airbags."""

from __future__ import annotations

import pytest

from driveout.workshop import airbag_wait_minutes, shipped_assembly, strip, with_variants


def order(assembly: str, target: str, *variants: str) -> list[str]:
    plan = strip(with_variants(shipped_assembly(assembly), variants), [target])
    return [task.item for task in plan.tasks if task.phase == "strip"]


@pytest.mark.parametrize("target", ["compressor", "condenser"])
@pytest.mark.parametrize("built", [(), ("drier_in_condenser",)])
def test_the_refrigerant_is_recovered_before_any_line_is_opened(target: str, built: tuple[str, ...]) -> None:
    # source: 40 CFR 82.154 (a): no knowing venting while maintaining or disposing of an appliance
    assembly = shipped_assembly("air_conditioning")
    opened = order("air_conditioning", target, *built)
    circuit = [item for item in opened if item in assembly.links and assembly.links[item].kind == "fluid"]

    assert circuit
    assert opened.index("recover") < min(opened.index(item) for item in circuit)
    assert "certified person" in assembly.steps["recover"].do
    assert "certified person" in assembly.steps["charge"].do


@pytest.mark.parametrize(
    ("assembly", "target"),
    [
        ("cabin_seat_and_trim", "front_seat"),
        ("cabin_seat_and_trim", "wheel_bag_off"),
        ("cabin_seat_and_trim", "headliner_out"),
        ("door_lamp_bumper", "bumper_off"),
        ("door_lamp_bumper", "door_off"),
        ("door_lamp_bumper", "window_regulator"),
    ],
)
def test_nothing_near_an_airbag_is_touched_before_the_battery_is_off_and_the_wait_is_over(
    assembly: str, target: str
) -> None:
    held = shipped_assembly(assembly)
    opened = order(assembly, target)
    guarded = [item for item in opened if item in held.links and "airbag" in held.links[item].cautions]

    wait = opened.index("airbag_wait")
    assert opened.index("battery_lead") < wait
    assert all(opened.index(item) > wait for item in guarded)
    # source: the longest of the makers' waits that were read, see the caution's own source
    assert held.steps["airbag_wait"].minutes == airbag_wait_minutes() == 10
    assert held.steps["airbag_wait"].is_wait
