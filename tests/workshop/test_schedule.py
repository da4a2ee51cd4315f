"""Days for the work: small cases that can be followed on a calendar."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest

from driveout.workshop import shipped_assembly, strip
from driveout.workshop.calendar import WorkCalendar, week_windows
from driveout.workshop.plan import After, Arrival, Operation, Plan, Rental, operations_of
from driveout.workshop.schedule import plan_work, schedule_as_data

MONDAY = datetime.date(2026, 3, 2)
SIX, NINE = datetime.time(18), datetime.time(21)
EVENINGS = {day: [(SIX, NINE)] for day in ("monday", "tuesday", "wednesday", "thursday", "friday")}
SATURDAY = {"saturday": [(datetime.time(9), datetime.time(17))]}


def at(day: int, hour: int, minute: int = 0) -> datetime.datetime:
    return datetime.datetime.combine(datetime.date(2026, 3, day), datetime.time(hour, minute))


def a_plan(*operations: Operation, days: int = 28, **more: object) -> Plan:
    calendar = WorkCalendar(MONDAY, week_windows(MONDAY, days, EVENINGS | SATURDAY))
    return replace(Plan(at(2, 0), calendar, operations), **more)  # type: ignore[arg-type]


def test_work_is_left_overnight_and_gone_on_with() -> None:
    schedule = plan_work(a_plan(Operation("a", "a", 240)))
    placed = schedule.of("a")
    assert placed is not None

    assert placed.stretches == ((at(2, 18), at(2, 21)), (at(3, 18), at(3, 19)))
    assert schedule.is_proven


def test_work_in_one_go_waits_for_the_saturday() -> None:
    schedule = plan_work(a_plan(Operation("engine in", "engine in", 240, is_splittable=False)))

    assert schedule.finish == at(7, 13)


def test_a_wait_runs_through_the_night() -> None:
    """Sealed until 21:00 on Monday; 20 hours later it is Tuesday 17:00 and work opens at 18:00."""
    schedule = plan_work(
        a_plan(Operation("seal", "seal", 180), Operation("fill", "fill", 30, (After("seal", 20 * 60),)))
    )
    placed = schedule.of("fill")
    assert placed is not None

    assert placed.start == at(3, 18)


def test_a_wait_of_its_own_counts_like_a_wait_on_the_way() -> None:
    schedule = plan_work(
        a_plan(
            Operation("seal", "seal", 180),
            Operation("cure", "cure", 22 * 60, (After("seal"),), who="nobody"),
            Operation("fill", "fill", 30, (After("cure"),)),
        )
    )
    cure, fill = schedule.of("cure"), schedule.of("fill")
    assert cure is not None
    assert fill is not None

    assert (cure.start, cure.end) == (at(2, 21), at(3, 19))
    assert fill.start == at(3, 19)


def test_other_work_fills_the_wait() -> None:
    schedule = plan_work(
        a_plan(
            Operation("drain", "drain", 30),
            Operation("hose", "hose", 30, (After("drain", 60),)),
            Operation("pads", "pads", 60),
        )
    )

    assert schedule.finish == at(2, 20)


def test_the_helper_is_met_in_the_helpers_hours() -> None:
    plan = a_plan(Operation("lift", "lift", 30, only_in=("helper",)), Operation("b", "b", 60))
    helper = ((3 * 1440 + 19 * 60, 3 * 1440 + 20 * 60),)
    schedule = plan_work(replace(plan, calendar=replace(plan.calendar, others={"helper": helper})))
    placed = schedule.of("lift")
    assert placed is not None

    assert at(5, 19) <= placed.start
    assert placed.end <= at(5, 20)


def test_outdoor_work_keeps_to_daylight() -> None:
    plan = a_plan(Operation("polish", "polish", 60, only_in=("daylight",)))
    day = tuple((n * 1440 + 7 * 60, n * 1440 + 18 * 60 + 30) for n in range(28))
    schedule = plan_work(replace(plan, calendar=replace(plan.calendar, others={"daylight": day})))

    assert schedule.finish == at(7, 10)


def test_a_part_that_comes_later_moves_the_work() -> None:
    early = a_plan(
        Operation("clutch", "clutch", 60, parts=("kit",)), arrivals=(Arrival("kit", "kit", at(3, 15)),)
    )
    late = replace(early, arrivals=(Arrival("kit", "kit", at(5, 15)),))

    assert plan_work(early).finish == at(3, 19)
    assert plan_work(late).finish == at(5, 19)


def test_the_hoist_goes_back_sooner_when_its_days_cost_more_than_the_days_of_the_car() -> None:
    """Hoist work on both sides of a part that arrives on Friday: waiting with the first saves days."""
    operations = (
        Operation("exhaust", "exhaust", 60, rental="hoist"),
        Operation("gearbox", "gearbox", 60, (After("exhaust"),), parts=("seal",), rental="hoist"),
    )
    seal = (Arrival("seal", "seal", at(6, 12)),)
    dear = plan_work(a_plan(*operations, arrivals=seal, rentals=(Rental("hoist", "hoist", 4000),)))
    free = plan_work(a_plan(*operations, arrivals=seal))

    assert dear.rental_days["hoist"] == 1
    assert (dear.finish, free.finish) == (at(6, 20), at(6, 19))
    assert dear.is_proven
    assert dear.cost == 4 * 100 + 4000


def test_what_is_done_stays_done_and_its_cure_runs_on() -> None:
    plan = a_plan(
        Operation("seal", "seal", 60),
        Operation("fill", "fill", 30, (After("seal", 24 * 60),)),
        start=at(3, 19),
        done={"seal": at(2, 20)},
    )
    schedule = plan_work(plan)

    assert [p.operation.id for p in schedule.placed] == ["fill"]
    assert schedule.finish == at(3, 20, 30)


def test_work_that_is_begun_takes_what_is_left_of_it() -> None:
    plan = a_plan(Operation("a", "a", 180), left_minutes={"a": 40}, start=at(2, 19))

    assert plan_work(plan).finish == at(2, 19, 40)


def test_days_of_a_rented_thing_that_is_here_already_are_counted() -> None:
    plan = a_plan(
        Operation("out", "out", 60, rental="hoist"),
        Operation("in", "in", 60, (After("out"),), rental="hoist"),
        rentals=(Rental("hoist", "hoist", 4000),),
        done={"out": at(2, 20)},
        start=at(4, 12),
    )

    assert plan_work(plan).rental_days == {"hoist": 3}


def test_a_circle_is_named_and_the_rest_is_planned() -> None:
    schedule = plan_work(
        a_plan(
            Operation("a", "fit the downpipe", 30, (After("b"),)),
            Operation("b", "fit the shield", 30, (After("a"),)),
            Operation("c", "start", 30, (After("b"),)),
            Operation("d", "brakes", 30),
        )
    )

    assert [p.operation.id for p in schedule.placed] == ["d"]
    messages = " ".join(t.message for t in schedule.troubles)
    assert "fit the downpipe and fit the shield wait for each other in a circle" in messages
    assert "start has no date yet: it waits for fit the shield" in messages


def test_a_negative_time_is_said_and_the_rest_is_planned() -> None:
    schedule = plan_work(a_plan(Operation("a", "bleed", -20), Operation("b", "b", 30)))

    assert "bleed takes -20 minutes; 0 or more was expected" in schedule.troubles[0].message
    assert schedule.finish == at(2, 18, 30)


def test_a_part_that_never_arrives_is_said_and_the_rest_is_planned() -> None:
    schedule = plan_work(
        a_plan(
            Operation("a", "clutch", 30, parts=("kit",)),
            Operation("b", "b", 30),
            arrivals=(Arrival("kit", "clutch kit"),),
        )
    )

    assert "clutch waits for a part without an arrival date: clutch kit" in schedule.troubles[0].message
    assert [o.id for o in schedule.no_date] == ["a"]
    assert schedule.finish == at(2, 18, 30)


def test_a_helper_date_in_the_past_is_said() -> None:
    plan = a_plan(Operation("a", "lift", 30, only_in=("helper",)), Operation("b", "b", 30), start=at(4, 0))
    helper = ((1080, 1140),)
    schedule = plan_work(replace(plan, calendar=replace(plan.calendar, others={"helper": helper})))
    messages = " ".join(t.message for t in schedule.troubles)

    assert "Hours of helper on 2026-03-02 are over" in messages
    assert "lift needs hours of helper, and none are left" in messages
    assert schedule.finish == at(4, 18, 30)


def test_work_longer_than_any_free_stretch_is_said() -> None:
    schedule = plan_work(a_plan(Operation("a", "lacquer", 600, is_splittable=False)))

    assert "takes 600 minutes in one go, and the longest free stretch is 480" in schedule.troubles[0].message


def test_what_does_not_fit_into_the_calendar_is_said_and_the_rest_is_planned() -> None:
    schedule = plan_work(a_plan(Operation("a", "a", 170), Operation("b", "b", 400, (After("a"),)), days=2))

    assert [p.operation.id for p in schedule.placed] == ["a"]
    assert "b does not fit into the" in schedule.troubles[0].message
    assert not schedule.is_proven


def test_a_wait_for_something_that_is_not_in_the_plan_is_said() -> None:
    schedule = plan_work(a_plan(Operation("a", "a", 30, (After("ghost"),))))

    assert "waits for 'ghost', which is not in the plan" in schedule.troubles[0].message


def test_an_empty_plan_is_finished_now() -> None:
    schedule = plan_work(a_plan())

    assert schedule.finish == at(2, 0)
    assert schedule.placed == ()


def test_a_person_without_any_hours_is_told_so() -> None:
    plan = replace(a_plan(Operation("a", "a", 30)), calendar=WorkCalendar(MONDAY, ()))

    assert "needs hours of me, and none are left" in plan_work(plan).troubles[0].message


def test_one_thread_gives_the_same_starts_each_time() -> None:
    operations = [
        Operation(f"o{i}", f"o{i}", 20 + 7 * i, (After(f"o{i - 3}", 300),) if i > 2 else ())
        for i in range(12)
    ]
    plan = a_plan(*operations, rentals=(Rental("hoist", "hoist", 500),))
    plan = replace(
        plan,
        operations=tuple(replace(o, rental="hoist" if i in (2, 7) else "") for i, o in enumerate(operations)),
    )
    one, two = (schedule_as_data(plan_work(plan, deterministic=True)) for _ in range(2))

    assert one == two


@pytest.mark.parametrize("name", ["clutch_front_drive", "head_and_timing", "cabin_seat_and_trim"])
def test_a_strip_plan_becomes_work_with_dates(name: str) -> None:
    """Every task has a date, the way in before the repair, the repair before the way back."""
    assembly = shipped_assembly(name)
    work = strip(assembly, list(assembly.targets))
    helper = tuple((n * 1440 + 9 * 60, n * 1440 + 17 * 60) for n in (5, 12, 19))
    plan = a_plan(*operations_of(work, "clutch"), grid_minutes=1)
    schedule = plan_work(replace(plan, calendar=replace(plan.calendar, others={"helper": helper})))
    end = {p.operation.id.removeprefix("clutch:"): p.end for p in schedule.placed}
    start = {p.operation.id.removeprefix("clutch:"): p.start for p in schedule.placed}

    assert not schedule.troubles
    assert schedule.is_proven
    assert set(end) == {task.id for task in work.tasks}
    phases = {phase: [t.id for t in work.tasks if t.phase == phase] for phase in ("strip", "open", "refit")}
    assert max(end[i] for i in phases["strip"]) <= min(start[i] for i in phases["open"])
    assert max(end[i] for i in phases["open"]) <= min(start[i] for i in phases["refit"])
    for item, needs in work.because.items():
        for need in needs:
            if f"off:{item}" in start and f"off:{need}" in start:
                assert end[f"off:{need}"] <= start[f"off:{item}"]


def with_helper_hours(plan: Plan, *hours: tuple[int, int]) -> Plan:
    return replace(plan, calendar=replace(plan.calendar, others={"helper": hours}))


def test_a_helper_who_works_alone_works_beside_me() -> None:
    """Two evenings of work for one, one evening for two."""
    plan = a_plan(Operation("a", "a", 180), Operation("b", "clean the bolts", 120, who="helper"))
    schedule = plan_work(with_helper_hours(plan, (1080, 1260)))

    assert schedule.finish == at(2, 21)
    assert schedule.is_proven


def test_a_helper_alone_keeps_waits_parts_and_hours() -> None:
    plan = a_plan(
        Operation("paint", "paint", 60, who="helper", parts=("can",)),
        Operation("fit", "fit", 60, (After("paint", 24 * 60),)),
        Operation("lift", "lift", 30, only_in=("helper",)),
        arrivals=(Arrival("can", "can", at(3, 18, 30)),),
    )
    schedule = plan_work(with_helper_hours(plan, (2520, 2700), (3960, 4140)))
    start = {p.operation.id: p.start for p in schedule.placed}

    assert start["paint"] == at(3, 18, 30)
    assert start["fit"] == at(4, 19, 30)
    assert schedule.finish == at(4, 20, 30)
    assert start["lift"] != start["paint"]


def test_a_helper_with_too_few_hours_leaves_the_rest_of_the_plan_standing() -> None:
    plan = a_plan(
        Operation("a", "a", 60, who="helper"), Operation("b", "b", 60, who="helper"), Operation("c", "c", 60)
    )
    schedule = plan_work(with_helper_hours(plan, (1080, 1150)))

    assert len(schedule.no_date) == 1
    assert "does not fit into the" in schedule.troubles[0].message
    assert schedule.of("c") is not None


def test_rented_days_are_few_too_when_a_helper_works_alone() -> None:
    plan = a_plan(
        Operation("wash", "wash", 60, who="helper"),
        Operation("out", "out", 60, rental="hoist"),
        Operation("in", "in", 60, (After("out"),), rental="hoist", parts=("kit",)),
        arrivals=(Arrival("kit", "kit", at(5, 12)),),
        rentals=(Rental("hoist", "hoist", 5000),),
    )
    schedule = plan_work(with_helper_hours(plan, (1080, 1260)))

    assert schedule.rental_days == {"hoist": 1}
    assert schedule.finish == at(5, 20)


def test_an_instant_with_a_wait_counts_from_what_made_it_possible() -> None:
    """Sealed on Monday 21:00, looked at in no time, 22 hours: Tuesday 19:00, not 22 hours after the next opening."""
    schedule = plan_work(
        a_plan(
            Operation("seal", "seal", 180),
            Operation("look", "look", 0, (After("seal"),)),
            Operation("fill", "fill", 30, (After("look", 22 * 60),)),
        )
    )
    fill = schedule.of("fill")
    assert fill is not None

    assert fill.start == at(3, 19)
