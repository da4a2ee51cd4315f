"""The plan of work on the shipped assemblies and on small ones."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.workshop import AccessItem, StripPlan, least_release, read_assembly, shipped_assembly, strip


def clutch_plan() -> StripPlan:
    return strip(shipped_assembly("clutch_front_drive"), ["clutch"])


def test_each_removed_thing_says_what_it_is_in_the_way_of() -> None:
    task = clutch_plan().task("off:undertray_screws")

    assert task.reason == "Because it holds the undertray."


def test_the_cheaper_of_two_ways_is_taken() -> None:
    plan = clutch_plan()

    assert "ball_joint_left" in plan.released
    assert "strut_bolts_left" not in plan.released


def test_a_lift_waits_for_every_link_that_crosses_its_edge_though_nobody_wrote_it_down() -> None:
    assembly = shipped_assembly("clutch_front_drive")
    plan = clutch_plan()
    written = {name for need in assembly.steps["draw"].needs for way in need for name in way}
    crossing = {link.id for link in plan.assembly.crossing("gearbox")}

    assert {"ground_strap", "speed_sensor_plug"} <= crossing
    assert not crossing & written
    order = list(plan.released)
    assert all(order.index(name) < order.index("draw") for name in crossing)


def test_shared_access_is_paid_once() -> None:
    plan = strip(shipped_assembly("clutch_front_drive"), ["clutch", "rear_main"])

    assert plan.effort_minutes < sum(plan.alone_minutes.values())
    assert plan.saving_minutes == pytest.approx(sum(plan.alone_minutes.values()) - plan.effort_minutes)
    assert plan.marginal_minutes["rear_main"] < 0.1 * plan.alone_minutes["rear_main"]


def test_renewals_come_from_links_parts_steps_and_targets() -> None:
    words = {renewal.what for renewal in clutch_plan().renewals}

    assert {"clutch kit", "gearbox oil", "gearbox output seal, left"} <= words
    bolts = [
        r
        for r in strip(shipped_assembly("clutch_front_drive"), ["rear_main"]).renewals
        if "flywheel" in r.what
    ]
    assert bolts[0].count == 6


def test_what_was_not_opened_needs_nothing_new() -> None:
    plan = strip(shipped_assembly("clutch_front_drive"), ["gearbox_out"])

    assert not any("flywheel" in renewal.what for renewal in plan.renewals)


def test_the_way_back_ends_with_hold_points_in_the_order_of_the_events() -> None:
    holds = [task.item for task in clutch_plan().tasks if task.id.startswith("hold:event")]

    assert holds == ["mate", "first_start", "move", "road_test", "sale"]


def test_filling_comes_before_the_undertray_and_the_start_after_the_ground_strap() -> None:
    order = [task.id for task in clutch_plan().tasks]

    assert order.index("back:drain_gearbox") < order.index("on:undertray_screws")
    assert order.index("on:ground_strap") < order.index("hold:event:first_start") < order.index("do:start")


def test_bags_are_numbered_in_the_order_of_opening() -> None:
    bags = [task.bag for task in clutch_plan().tasks if task.kind == "undo" and task.bag]

    assert bags == list(range(1, len(bags) + 1))


def test_the_airbag_wait_is_in_the_plan_and_costs_no_effort() -> None:
    plan = strip(shipped_assembly("engine_out_transverse"), ["engine_out"])
    wait = plan.task("do:airbag_wait")

    assert wait.kind == "wait"
    assert wait.minutes == 10
    assert "airbag" in wait.cautions


def test_an_engine_is_out_faster_when_nothing_seizes() -> None:
    assembly = shipped_assembly("engine_out_transverse")
    link = assembly.links["front_pipe_nuts"]

    assert link.expected_minutes == pytest.approx(
        link.off_minutes + link.on_minutes + 0.35 * (0.3 * 20 + 0.4 * 75 + 0.3 * 240)
    )


def test_no_target_and_an_unknown_target_are_refused() -> None:
    assembly = shipped_assembly("cooling")
    with pytest.raises(BadEntry, match="No target"):
        strip(assembly, [])
    with pytest.raises(BadEntry, match="no target 'pump'") as caught:
        strip(assembly, ["pump"])

    assert "water_pump" in caught.value.allowed


def test_two_items_each_other_s_only_access_are_not_removable_and_both_are_named() -> None:
    items = {"a": AccessItem("a", 1, ((("b",),),)), "b": AccessItem("b", 1, ((("a",),),))}
    with pytest.raises(CannotSay, match="a and b each wait for the other") as caught:
        least_release(items, ["a"])

    assert caught.value.missing == "a, b"


def test_a_block_is_opened_from_its_other_side() -> None:
    items = {
        "a": AccessItem("a", 1, ((("b",), ("c",)),)),
        "b": AccessItem("b", 1, ((("a",),),)),
        "c": AccessItem("c", 5),
    }

    assert least_release(items, ["b"]).order == ("c", "a", "b")


def test_an_item_that_waits_for_itself_can_never_come_off() -> None:
    with pytest.raises(CannotSay, match="can never be released"):
        least_release({"a": AccessItem("a", 1, ((("a",),),))}, ["a"])


def test_a_negative_effort_and_an_unknown_need_are_refused() -> None:
    with pytest.raises(BadEntry, match="effort -1"):
        least_release({"a": AccessItem("a", -1)}, ["a"])
    with pytest.raises(BadEntry, match="needs 'b'"):
        least_release({"a": AccessItem("a", 1, ((("b",),),))}, ["a"])


def test_an_alternative_of_several_things_is_taken_whole_when_it_is_cheaper() -> None:
    text = """schema: driveout-assembly/1
id: hatch
name: Hatch
parts: {body: {name: body, fixed: true}, pump: {name: pump}}
steps:
  one: {do: one, minutes: 2}
  two: {do: two, minutes: 2}
  big: {do: big, minutes: 5}
links:
  bolts: {kind: bolt, part: pump, to: body, count: 1, either: [[[one, two], big]]}
"""
    plan = strip(read_assembly(text), ["pump"])

    assert plan.released == ("one", "two", "bolts", "pump")
    assert plan.because["bolts"] == ("one", "two")


def test_the_plan_as_plain_values_names_every_task() -> None:
    shape = clutch_plan().as_dict()

    assert len(shape["tasks"]) == len({task["id"] for task in shape["tasks"]})
    assert shape["targets"] == ["clutch"]
