"""Hold points and bags: one ground strap and one sensor plug forgotten, and caught."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry
from driveout.workshop import (
    FastenerRecord,
    Passage,
    Progress,
    bag_report,
    fastener_records,
    hold_point,
    pass_hold,
    shipped_assembly,
    still_holding,
    strip,
)
from driveout.workshop.strip import StripPlan
from driveout.workshop.work import Work


@pytest.fixture(scope="module")
def plan() -> StripPlan:
    return strip(shipped_assembly("clutch_front_drive"), ["clutch"])


def all_links(plan: StripPlan, *but: str) -> frozenset[str]:
    return frozenset(link.id for link in plan.links) - set(but)


def test_a_forgotten_ground_strap_and_sensor_plug_still_hold_the_gearbox(plan: StripPlan) -> None:
    undone = all_links(plan, "ground_strap", "speed_sensor_plug")
    holding = {link.id for link in still_holding(plan.assembly, "gearbox", undone)}

    assert holding == {"ground_strap", "speed_sensor_plug"}


def test_the_hidden_ones_are_asked_for_first(plan: StripPlan) -> None:
    point = hold_point(plan, "hold:strip:draw", Progress())

    assert [item.is_hidden for item in point.open_items[:3]] == [True, True, False]


def test_a_lift_is_not_passed_with_something_open(plan: StripPlan) -> None:
    point = hold_point(plan, "hold:strip:draw", Progress(all_links(plan, "ground_strap")))
    with pytest.raises(BadEntry, match="Ground strap from the gearbox to the body"):
        pass_hold(point)
    with pytest.raises(BadEntry, match="why you go on"):
        pass_hold(point, "ok")


def test_a_note_passes_it_and_is_kept(plan: StripPlan) -> None:
    point = hold_point(plan, "hold:strip:draw", Progress(all_links(plan, "ground_strap")))
    passage = pass_hold(point, "cut through, a new strap is on order")

    assert passage.is_override
    assert "ground_strap" in passage.open_keys


def test_a_written_item_needs_a_record(plan: StripPlan) -> None:
    clear = hold_point(
        plan,
        "hold:strip:draw",
        Progress(all_links(plan), frozenset(), {"draw.1": "strap on", "draw.2": "looked with a torch"}),
    )
    half = hold_point(plan, "hold:strip:draw", Progress(all_links(plan), frozenset(), {"draw.1": "strap on"}))

    assert clear.is_clear
    assert [item.key for item in half.open_items] == ["draw.2"]


def test_the_first_start_waits_for_the_ground_strap_and_the_sensor_plug(plan: StripPlan) -> None:
    progress = Progress(all_links(plan), all_links(plan, "ground_strap", "speed_sensor_plug"))
    point = hold_point(plan, "hold:event:first_start", progress)
    links = [item for item in point.open_items if item.kind == "link"]

    assert {item.key for item in links} == {"ground_strap", "speed_sensor_plug"}
    assert all(item.miss for item in links)


def test_an_undertray_does_not_hold_up_the_start_but_the_sale(plan: StripPlan) -> None:
    progress = Progress(all_links(plan), all_links(plan, "undertray_screws"))

    start = hold_point(plan, "hold:event:first_start", progress)
    sale = hold_point(plan, "hold:event:sale", progress)
    assert "undertray_screws" not in {item.key for item in start.open_items}
    assert "undertray_screws" in {item.key for item in sale.open_items}


def test_a_hold_point_opens_again_when_a_link_is_taken_back(plan: StripPlan) -> None:
    recorded = {"draw.1": "seen", "draw.2": "seen"}
    passed = (Passage("hold:strip:draw", (), ""),)
    whole = Work(plan, Progress(all_links(plan), frozenset(), recorded), passages=passed)
    less = Work(plan, Progress(all_links(plan, "ground_strap"), frozenset(), recorded), passages=passed)

    assert whole.is_passed("hold:strip:draw")
    assert not less.is_passed("hold:strip:draw")
    with pytest.raises(BadEntry, match="The hold point comes first"):
        less.demand_open_way(plan.task("do:draw"))


def test_a_task_that_is_no_hold_point_is_refused(plan: StripPlan) -> None:
    with pytest.raises(BadEntry, match="not a hold point"):
        hold_point(plan, "do:draw", Progress())


def test_every_bag_starts_empty_and_clean(plan: StripPlan) -> None:
    records = fastener_records(plan)

    assert bag_report(records).is_clean
    assert bag_report(records).lines() == ["Nothing missing, nothing left over."]
    assert {record.bag for record in records} == set(range(1, len(records) + 1))


def test_one_bolt_left_in_its_bag_is_listed_as_missing_and_left_over() -> None:
    record = FastenerRecord("x", "bellhousing", 4, 22, taken_out=4, put_back=3)
    report = bag_report([record])

    assert report.lines() == ["Missing 1 of 4: bellhousing (bag 22)", "Left over 1 in bag 22: bellhousing"]


def test_bolts_used_once_leave_nothing_over_when_new_ones_went_in() -> None:
    record = FastenerRecord("x", "flywheel", 6, 3, taken_out=6, thrown_away=6, fitted_new=6)

    assert record.is_settled


def test_more_pieces_back_than_out_are_refused() -> None:
    with pytest.raises(BadEntry, match="New pieces count as new"):
        FastenerRecord("x", "cover", 6, 1, taken_out=5, put_back=6)


def test_a_bolt_left_over_holds_up_the_event_of_its_link(plan: StripPlan) -> None:
    record = FastenerRecord("starter_bolts", "starter", 2, 18, taken_out=2, put_back=1)
    progress = Progress(all_links(plan), all_links(plan))
    point = hold_point(plan, "hold:event:first_start", progress, [record])

    assert "bag.starter_bolts" in {item.key for item in point.open_items}
