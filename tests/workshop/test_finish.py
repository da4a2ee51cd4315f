"""Chances of the finish: sessions that were reached, and what the finish hangs on."""

from __future__ import annotations

import datetime
import random
from dataclasses import replace

import numpy as np
import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.uncertain import Fixed
from driveout.workshop.calendar import WorkCalendar
from driveout.workshop.finish import finish_as_data, finish_chances, pert
from driveout.workshop.plan import After, Arrival, Hidden, Operation, Plan, Rental
from driveout.workshop.schedule import plan_work
from tests.independent.test_schedule import Minutes, a_small_plan
from tests.workshop.test_schedule import a_plan, at


def test_half_and_eight_of_ten_runs_end_in_a_session_that_can_be_named() -> None:
    plan = a_plan(Operation("a", "a", 100, spread=pert(60, 100, 300)), Operation("b", "b", 40, (After("a"),)))
    finish = finish_chances(plan_work(plan), np.random.default_rng(1))

    assert finish.p50.day == datetime.date(2026, 3, 2)
    assert finish.p80.day == datetime.date(2026, 3, 3)
    assert (finish.p80.begins, finish.p80.ends) == (datetime.time(18), datetime.time(21))
    assert finish.chance_by(at(2, 21)) == pytest.approx(finish.chance_by(at(3, 18)))


def test_a_lucky_half_is_read_from_the_runs_never_between_them() -> None:
    """Finished on Monday or on the part's Friday: no run ends on a Wednesday, so none is named."""
    late = Arrival("kit", "kit", at(2, 12), late_days=pert(0, 0, 8))
    finish = finish_chances(
        plan_work(a_plan(Operation("a", "a", 60, parts=("kit",)), arrivals=(late,))), np.random.default_rng(2)
    )
    calendar = finish.schedule.plan.calendar

    for session in (finish.p50, finish.p80):
        assert calendar.clock(session.moment) in {int(np.ceil(end)) for end in finish.ends}


def test_without_doubt_the_runs_end_when_the_plan_does() -> None:
    for seed in range(60):
        schedule = plan_work(a_small_plan(seed))
        if schedule.troubles:
            continue
        finish = finish_chances(schedule, np.random.default_rng(seed), samples=2, pace_spread=0.0)

        assert finish.ends.tolist() == [schedule.plan.calendar.clock(schedule.finish)] * 2, seed


def test_other_durations_played_in_the_planned_order_end_where_a_table_of_minutes_says() -> None:
    played = 0
    for seed in range(80):
        schedule = plan_work(a_small_plan(seed, 6))
        if schedule.troubles:
            continue
        rng = random.Random(seed)
        sizes = {p.operation.id: 15 * rng.randint(1, 5) for p in schedule.placed}
        table = Minutes(schedule.plan)
        free, ends = 0, dict[str, int]()
        for placed in schedule.placed:
            o = replace(placed.operation, minutes=sizes[placed.operation.id])
            k = table.run(schedule.plan, o, free, ends)
            if k is None:
                break
            free = k + sizes[o.id] // 15
            ends[o.id] = table.slots[free - 1] + 1
        else:
            plan = replace(
                schedule.plan,
                operations=tuple(
                    replace(o, spread=Fixed(float(sizes[o.id]))) for o in schedule.plan.operations
                ),
            )
            again = replace(
                schedule,
                plan=plan,
                placed=tuple(replace(p, operation=plan.by_id[p.operation.id]) for p in schedule.placed),
            )
            finish = finish_chances(again, np.random.default_rng(seed), samples=1, pace_spread=0.0)
            played += 1

            assert finish.ends[0] == max(ends.values()) * 15, seed
    assert played > 30


def test_one_shared_pace_spreads_the_finish_more_than_doubts_that_cancel_out() -> None:
    plan = a_plan(*(Operation(f"o{i}", "o", 60, spread=pert(30, 55, 110)) for i in range(30)), days=60)
    schedule = plan_work(plan)
    alone = finish_chances(schedule, np.random.default_rng(3), pace_spread=0.0)
    shared = finish_chances(schedule, np.random.default_rng(3), pace_spread=0.2)

    assert float(np.std(shared.ends)) > 2 * float(np.std(alone.ends))


def test_something_hidden_turns_up_as_often_as_was_said() -> None:
    plan = a_plan(Operation("bolts", "bolts", 60, hidden=Hidden(0.3, Fixed(60.0))))
    finish = finish_chances(plan_work(plan), np.random.default_rng(4), pace_spread=0.0)

    assert finish.chance_by(at(2, 19)) == pytest.approx(0.7, abs=4 * (0.21 / 10_000) ** 0.5)
    assert finish.chance_by(at(2, 20)) == 1.0


def test_the_finish_hangs_on_the_part_when_the_part_is_late() -> None:
    plan = a_plan(
        Operation("strip", "strip", 60),
        Operation("fit", "fit", 60, (After("strip"),), parts=("kit",)),
        arrivals=(Arrival("kit", "kit", at(4, 12), late_days=pert(0, 1, 4)),),
    )
    finish = finish_chances(plan_work(plan), np.random.default_rng(5))

    assert finish.critical["kit"] > 0.99
    assert finish.critical["fit"] == 1.0
    assert finish.critical.get("strip", 0.0) < 0.01


def test_a_rented_thing_is_kept_longer_in_runs_that_go_badly() -> None:
    operations = [Operation(f"o{i}", "o", 80, rental="hoist", spread=pert(60, 70, 160)) for i in range(2)]
    schedule = plan_work(a_plan(*operations, rentals=(Rental("hoist", "hoist", 3000),)))
    finish = finish_chances(schedule, np.random.default_rng(6))

    assert schedule.rental_days["hoist"] == 1
    assert finish.rental_over["hoist"] == pytest.approx(1 - finish.chance_by(at(2, 21)))
    assert 0.05 < finish.rental_over["hoist"] < 0.95


def test_runs_past_the_calendar_are_counted_and_not_dated() -> None:
    plan = a_plan(Operation("a", "a", 170, spread=pert(100, 170, 600)), days=1)
    finish = finish_chances(plan_work(plan), np.random.default_rng(7))

    assert finish.past_calendar > 0.3
    assert finish.p80.is_past_calendar
    assert finish_as_data(finish)["p80"]["is_past_calendar"]


def test_the_same_seed_gives_the_same_chances() -> None:
    schedule = plan_work(a_plan(Operation("a", "a", 100, spread=pert(60, 100, 300))))
    one, two = (finish_as_data(finish_chances(schedule, np.random.default_rng(8))) for _ in range(2))

    assert one == two


def test_an_empty_plan_has_no_chances() -> None:
    with pytest.raises(CannotSay, match="Nothing in the plan has a date"):
        finish_chances(plan_work(a_plan()), np.random.default_rng(1))


@pytest.mark.parametrize(("samples", "pace"), [(0, 1.0), (10, 0.0), (10**9, 1.0)])
def test_runs_that_cannot_be_played_are_refused(samples: int, pace: float) -> None:
    schedule = plan_work(a_plan(Operation("a", "a", 100)))

    with pytest.raises(BadEntry, match="cannot be played"):
        finish_chances(schedule, np.random.default_rng(1), samples=samples, pace=pace)


def test_extremes_out_of_order_are_refused() -> None:
    with pytest.raises(BadEntry, match="out of order"):
        pert(5, 4, 12)


def all_day_plan(*operations: Operation, days: int = 60) -> Plan:
    """Nobody works: every operation runs on the clock beside the others."""
    origin = datetime.date(2026, 3, 2)
    calendar = WorkCalendar(origin, ((0, days * 1440),))
    return Plan(datetime.datetime.combine(origin, datetime.time()), calendar, operations, grid_minutes=1)


def test_the_later_of_two_equal_chances_lies_above_either() -> None:
    """Mean of the larger of two independent equal normals is mu + sigma / sqrt(pi)."""
    law = pert(0, 500, 1000)  # near normal; the formula is exact for the normal law only
    plan = all_day_plan(
        Operation("a", "a", 500, who="nobody", spread=law), Operation("b", "b", 500, who="nobody", spread=law)
    )
    finish = finish_chances(plan_work(plan), np.random.default_rng(9), samples=100_000)

    assert float(finish.ends.mean()) == pytest.approx(500 + (law.variance / np.pi) ** 0.5, rel=0.01)
