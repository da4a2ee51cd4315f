"""A car's plan of days: what hangs on what, counted by hand on a small calendar."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from driveout.cars.actions import add_car
from driveout.errors import BadEntry, CannotSay
from driveout.parts import Offer
from driveout.parts.actions import add_offer, order_part, parts_of
from driveout.repairs import catalogue
from driveout.repairs.actions import choose_repair, days_plan, finish_repair, set_free_hours
from driveout.repairs.days import FreeHours, calendar_of, typed_stretches
from driveout.store import Store
from driveout.units import Money
from driveout.workshop.actions import pass_hold_point, record_task, work_of
from driveout.workshop.finish import finish_chances
from driveout.workshop.plan import Plan
from driveout.workshop.schedule import plan_work, worked_minutes
from tests.conftest import Clock

MONDAY = datetime(2026, 5, 4, 2, 0, tzinfo=UTC)
MORNING = datetime(2026, 5, 4, 2, 0, tzinfo=UTC).replace(tzinfo=None)
"""The same as a clock on the wall shows it, give or take the zone."""
EVENINGS = FreeHours(
    week={day: ["18:00-21:00"] for day in ("monday", "tuesday", "wednesday", "thursday")}
    | {"saturday": ["09:00-17:00"]},
    helper={"saturday": ["10:00-14:00"]},
)


@pytest.fixture
def car(store: Store, clock: Clock) -> int:
    with store.writing() as tx:
        return add_car(
            tx,
            name="Tarnwick Linnet 1.4",
            currency="USD",
            at=clock(),
            stage="in work",
            facts={"drive": "fwd", "gearbox": "manual"},
        ).id


def planned(store: Store, car: int, *repairs: tuple[str, str], hours: FreeHours = EVENINGS) -> Plan:
    with store.writing() as tx:
        set_free_hours(tx, car, hours, at=MONDAY)
        for repair, kind in repairs:
            choose_repair(tx, car, repair, kind, at=MONDAY)
    with store.reading() as tx:
        return days_plan(tx, car, at=MONDAY)


def test_without_free_hours_or_without_work_there_are_no_days(store: Store, car: int) -> None:
    with store.writing() as tx:
        with pytest.raises(CannotSay, match="free hours"):
            days_plan(tx, car, at=MONDAY)
        set_free_hours(tx, car, EVENINGS, at=MONDAY)
        with pytest.raises(CannotSay, match="No work is planned"):
            days_plan(tx, car, at=MONDAY)


def test_a_battery_that_lies_on_the_shelf_is_done_on_the_first_evening(store: Store, car: int) -> None:
    schedule = plan_work(planned(store, car, ("rep_battery", "new")))

    # 0.4 h likely, no lead time: 24 minutes, rounded up to steps of 5, from 18:00
    assert schedule.finish.date() == MONDAY.date()
    assert schedule.finish.time().isoformat("minutes") == "18:25"


def test_the_clutch_waits_for_its_parts_and_the_draw_for_the_helper(store: Store, car: int) -> None:
    plan = planned(store, car, ("rep_clutch_fwd", "new"))
    schedule = plan_work(plan)
    lead = catalogue().repairs["rep_clutch_fwd"].choices["new"].lead_days.likely
    fitted = schedule.of("1:repair:clutch")
    draw = schedule.of("1:do:draw")

    assert schedule.troubles == ()
    assert fitted is not None
    assert draw is not None
    assert fitted.start >= MONDAY.replace(tzinfo=None) + timedelta(days=lead)
    assert draw.start.strftime("%A") == "Saturday"
    assert draw.start.hour >= 10
    assert draw.end.hour <= 14
    assert schedule.of("1:hold:strip:draw").start <= draw.start  # type: ignore[union-attr]


def test_a_part_ordered_for_later_moves_the_days_with_it(store: Store, car: int) -> None:
    before = plan_work(planned(store, car, ("rep_clutch_fwd", "new"))).finish
    with store.writing() as tx:
        kit = next(p for p in parts_of(tx, car) if p.line.what == "clutch kit")
        offer = add_offer(tx, car, kit.id, Offer("Brackenford Spares", Money(24000, "USD"), 21), at=MONDAY)
        order_part(tx, car, kit.id, offer.id, MONDAY.date(), at=MONDAY)
        after = plan_work(days_plan(tx, car, at=MONDAY))

    assert after.of("1:repair:clutch").start >= MORNING + timedelta(days=21, hours=15)  # type: ignore[union-attr]
    assert after.finish > before


def test_what_is_done_is_not_planned_again_and_the_rest_moves_up(store: Store, car: int) -> None:
    plan = planned(store, car, ("rep_brake_front", "new"))
    first = plan_work(plan)
    with store.writing() as tx:
        held = work_of(tx, car, 1)
        for task in held.plan.tasks[:6]:
            if task.kind == "hold":
                pass_hold_point(tx, car, 1, task.id, at=MONDAY, note="looked")
            else:
                record_task(tx, car, 1, task.id, at=MONDAY)
        again = days_plan(tx, car, at=MONDAY)
    second = plan_work(again)

    assert set(again.done) == {f"1:{task.id}" for task in held.plan.tasks[:6]}
    assert worked_minutes(second) < worked_minutes(first)
    assert second.finish <= first.finish


def test_a_finished_repair_without_a_strip_plan_leaves_the_plan(store: Store, car: int) -> None:
    planned(store, car, ("rep_battery", "new"), ("rep_tyres", "new"))
    with store.writing() as tx:
        finish_repair(tx, car, "rep_battery", at=MONDAY)
        names = {operation.id for operation in days_plan(tx, car, at=MONDAY).operations}

    assert "repair:rep_tyres" in names
    assert "repair:rep_battery" not in names


def test_a_machine_shop_runs_through_nights_between_the_way_in_and_the_repair(store: Store, car: int) -> None:
    plan = planned(store, car, ("rep_head_gasket", "new"))
    schedule = plan_work(plan)
    wait = schedule.of("1:wait:rep_head_gasket:1")
    days = catalogue().repairs["rep_head_gasket"].waits[0].days.likely

    assert wait is not None
    assert wait.end - wait.start == timedelta(days=days)
    assert schedule.of("1:repair:head_gasket").start >= wait.end  # type: ignore[union-attr]


def test_a_rented_tool_counts_from_the_lift_to_its_mirror(store: Store, car: int) -> None:
    hours = FreeHours(EVENINGS.week, EVENINGS.helper, rented=("trans_jack",))
    plan = planned(store, car, ("rep_clutch_fwd", "new"), hours=hours)
    schedule = plan_work(plan)
    rented = [p for p in schedule.placed if p.operation.rental == "trans_jack"]

    assert {p.operation.id for p in rented} == {"1:do:draw", "1:back:draw"}
    first, last = min(p.start for p in rented).date(), max(p.end for p in rented).date()
    assert schedule.rental_days["trans_jack"] == (last - first).days + 1
    assert plan.rentals[0].cost_per_day == 3500


def test_without_a_helper_the_draw_has_no_date_and_the_rest_before_it_has(store: Store, car: int) -> None:
    plan = planned(store, car, ("rep_clutch_fwd", "new"), hours=FreeHours(EVENINGS.week, {}))
    schedule = plan_work(plan)

    assert schedule.of("1:do:photo") is not None
    assert schedule.of("1:do:draw") is None
    assert any("helper" in trouble.message for trouble in schedule.troubles)


def test_a_road_test_keeps_to_daylight(store: Store, car: int) -> None:
    hours = FreeHours(EVENINGS.week, EVENINGS.helper, daylight="08:00-17:00")
    schedule = plan_work(planned(store, car, ("rep_clutch_fwd", "new"), hours=hours))
    road = schedule.of("1:do:road")

    assert road is not None
    assert road.start.strftime("%A") == "Saturday", "evenings begin after dark"


def test_seized_pieces_make_the_likely_finish_later_than_the_planned_one(store: Store, car: int) -> None:
    schedule = plan_work(planned(store, car, ("rep_clutch_fwd", "new")))
    chances = finish_chances(schedule, np.random.default_rng(7), samples=2000)

    assert chances.p50.moment >= schedule.finish - timedelta(days=1)
    assert chances.p80.moment >= chances.p50.moment
    assert 0 < chances.chance_by(schedule.finish) < 1


def test_a_saturday_that_is_over_needs_no_word_but_a_single_date_does() -> None:
    hours = FreeHours(EVENINGS.week, {"saturday": ["10:00-14:00"], "2026-05-01": ["10:00-12:00"]})
    calendar = calendar_of(hours, MORNING)
    over = [calendar.day(begin) for begin, end in calendar.others["helper"] if end <= calendar.clock(MORNING)]

    assert over == [date(2026, 5, 1)]


@pytest.mark.parametrize("typed", ["six to nine", "18-21", "25:00-26:00", "18:00"])
def test_a_stretch_that_is_none_is_refused_by_its_field(typed: str) -> None:
    with pytest.raises(BadEntry, match="not a stretch") as caught:
        typed_stretches("me_monday", typed)

    assert caught.value.field == "me_monday"


def test_several_stretches_stand_side_by_side() -> None:
    assert typed_stretches("me_monday", "09:00-12:00, 13:00-17:00") == ["09:00-12:00", "13:00-17:00"]
