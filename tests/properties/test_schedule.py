"""What must hold for every plan of days, whatever is in it."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.workshop.calendar import WorkCalendar
from driveout.workshop.compressed import compressed
from driveout.workshop.dispatch import in_order
from driveout.workshop.finish import finish_chances, pert
from driveout.workshop.plan import After, Operation, what_holds
from driveout.workshop.rcpsp import Project, critical_path, solve_project
from driveout.workshop.schedule import Schedule, plan_work
from driveout.workshop.schedule_model import solve
from tests.independent.test_schedule import a_rented_plan, a_small_plan, broken_rules
from tests.published.calls_schedule import NETWORKS, normal_chance, played_chance

SEEDS = st.integers(1000, 100_000)
FEW = settings(max_examples=25, deadline=None)


def whole(seed: int) -> Schedule | None:
    """A plan that fits into its calendar, or None."""
    schedule = plan_work(a_small_plan(seed))
    return None if schedule.troubles else schedule


@FEW
@given(SEEDS)
def test_a_calendar_a_week_later_gives_the_same_plan_a_week_later(seed: int) -> None:
    plan = a_small_plan(seed)
    week = datetime.timedelta(days=7)
    moved = replace(
        plan,
        start=plan.start + week,
        calendar=replace(plan.calendar, origin=plan.calendar.origin + week),
        arrivals=tuple(replace(p, at=p.at + week) for p in plan.arrivals if p.at is not None),
    )

    assert plan_work(moved).finish == plan_work(plan).finish + week or plan_work(plan).troubles


@FEW
@given(SEEDS, st.integers(0, 11))
def test_another_free_evening_never_delays_the_car(seed: int, day: int) -> None:
    before = whole(seed)
    if before is None:
        return
    plan = before.plan
    more = (*plan.calendar.mine, (day * 1440 + 6 * 60, day * 1440 + 8 * 60))
    after = plan_work(replace(plan, calendar=replace(plan.calendar, mine=tuple(sorted(more)))))

    assert after.finish <= before.finish


@FEW
@given(SEEDS, st.integers(0, 11))
def test_more_helper_hours_never_delay_the_car(seed: int, day: int) -> None:
    before = whole(seed)
    if before is None or not before.plan.calendar.others["helper"]:
        return
    plan = before.plan
    from driveout.workshop.calendar import merged

    helper = merged([*plan.calendar.others["helper"], (day * 1440, day * 1440 + 1440)])
    after = plan_work(replace(plan, calendar=replace(plan.calendar, others={"helper": helper})))

    assert after.finish <= before.finish


@FEW
@given(SEEDS, st.integers(0, 6))
def test_longer_work_never_finishes_the_car_sooner(seed: int, which: int) -> None:
    before = whole(seed)
    if before is None:
        return
    plan = before.plan
    operations = tuple(
        replace(o, minutes=o.minutes + 15) if n == which else o for n, o in enumerate(plan.operations)
    )
    after = plan_work(replace(plan, operations=operations))

    assert after.troubles or after.finish >= before.finish


@FEW
@given(SEEDS, st.integers(0, 6))
def test_an_instant_between_work_and_its_wait_changes_nothing(seed: int, which: int) -> None:
    """A hold point of no length after an operation, with everything that waited for it waiting for the hold point."""
    before = whole(seed)
    if before is None:
        return
    plan = before.plan
    name = plan.operations[which].id
    operations = [
        replace(o, after=tuple(After("hold", a.wait_minutes) if a.operation == name else a for a in o.after))
        for o in plan.operations
    ]
    operations.append(Operation("hold", "hold", 0, (After(name),)))

    assert plan_work(replace(plan, operations=tuple(operations))).finish == before.finish


@FEW
@given(SEEDS, st.integers(0, 6))
def test_a_wait_written_as_a_piece_of_nobodys_work_changes_nothing(seed: int, which: int) -> None:
    before = whole(seed)
    if before is None:
        return
    plan = before.plan
    operations: list[Operation] = []
    for o in plan.operations:
        after = list(o.after)
        for k, a in enumerate(after):
            if a.operation == plan.operations[which].id and a.wait_minutes:
                wait = f"wait-{o.id}"
                operations.append(Operation(wait, wait, a.wait_minutes, (After(a.operation),), who="nobody"))
                after[k] = After(wait)
        operations.append(replace(o, after=tuple(after)))

    assert plan_work(replace(plan, operations=tuple(operations))).finish == before.finish


@FEW
@given(SEEDS)
def test_what_is_done_on_time_leaves_the_finish_where_it_was(seed: int) -> None:
    """The first piece is done as planned; the rest is planned anew from then on."""
    before = whole(seed)
    if before is None:
        return
    first = before.placed[0]
    after = plan_work(replace(before.plan, start=first.end, done={first.operation.id: first.end}))

    assert after.finish == before.finish


@FEW
@given(SEEDS)
def test_no_plan_breaks_a_rule(seed: int) -> None:
    assert not broken_rules(plan_work(a_small_plan(seed, 12)))
    assert not broken_rules(plan_work(a_rented_plan(seed)))


@FEW
@given(SEEDS)
def test_without_breaks_it_is_a_project_with_one_pair_of_hands(seed: int) -> None:
    """One long window: the same as the resource-limited project, waits as jobs that take nothing."""
    plan = a_small_plan(seed, 6)
    plan = replace(
        plan,
        calendar=WorkCalendar(plan.calendar.origin, ((0, 60 * 1440),)),
        operations=tuple(replace(o, only_in=(), parts=(), is_splittable=True) for o in plan.operations),
    )
    number = {o.id: n for n, o in enumerate(plan.operations)}
    durations = [int(o.minutes) // 15 for o in plan.operations]
    after: list[tuple[int, ...]] = []
    demands = [(1,)] * len(durations)
    for o in plan.operations:
        row = []
        for a in o.after:
            row.append(number[a.operation])
            if a.wait_minutes:
                durations.append(-(-int(a.wait_minutes) // 15))
                demands.append((0,))
                row.append(len(durations) - 1)
        after.append(tuple(row))
    for o in plan.operations:
        after += [(number[a.operation],) for a in o.after if a.wait_minutes]
    best = solve_project(
        Project(tuple(durations), tuple(after), tuple(demands), (1,)), 10, np.random.default_rng(seed)
    )

    assert best.is_proven
    assert plan_work(plan).finish - plan.start == datetime.timedelta(minutes=15 * best.makespan)


def test_the_exact_model_alone_finds_what_dispatch_and_bounds_find() -> None:
    """From a poor first plan, so that the solver has to do the work."""
    worked = 0
    for seed in range(2000, 2040):
        schedule = whole(seed)
        if schedule is None:
            continue
        operations, _ = what_holds(schedule.plan)
        problem = compressed(schedule.plan, operations)
        poor = in_order(problem, [float(-j) for j in range(len(problem.size))])
        if max(poor) > problem.time.total:
            continue
        answer = solve(problem, poor, 10)
        worked += answer.starts[problem.sink] < poor[problem.sink]

        assert answer.is_proven
        assert problem.is_kept(answer.starts)
        end = problem.time.end_clock(answer.starts[problem.sink]) * schedule.plan.grid_minutes
        assert schedule.plan.calendar.clock(schedule.finish) == end
    assert worked > 5


@pytest.mark.parametrize(("network", "deadline"), [("porta-vac", 20), ("fourteen", 53), ("reliable", 47)])
def test_played_through_a_deadline_is_less_sure_than_the_critical_path_says(
    network: str, deadline: float
) -> None:
    """Merge bias: other paths can turn out the longest, which the normal figure leaves out."""
    assert network in NETWORKS
    assert played_chance(network, deadline) < normal_chance(network, deadline)["chance"] - 0.005


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_the_later_chance_is_never_the_sooner_session(seed: int) -> None:
    schedule = plan_work(a_small_plan(seed))
    if not schedule.placed:
        return
    plan = replace(
        schedule.plan,
        operations=tuple(
            replace(o, spread=pert(0.6 * o.minutes, o.minutes, 2.2 * o.minutes))
            for o in schedule.plan.operations
        ),
    )
    finish = finish_chances(plan_work(plan), np.random.default_rng(seed), samples=400)

    assert finish.p50.moment <= finish.p80.moment
    assert np.all(np.diff(finish.ends) >= 0)
    assert all(0 <= share <= 1 for share in finish.critical.values())
    assert finish.chance_by(finish.p80.moment) >= 0.8


@FEW
@given(st.integers(0, 10_000))
def test_early_dates_and_late_dates_meet_on_a_path_from_start_to_end(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 12))
    durations = rng.integers(0, 9, count).tolist()
    after = [[i for i in range(j) if rng.random() < 0.3] for j in range(count)]
    dates = critical_path(durations, after)

    assert all(slack >= 0 for slack in dates.slack)
    assert any(dates.early_start[j] == 0 for j in dates.critical)
    assert any(dates.early_finish[j] == dates.length for j in dates.critical)
    assert dates.length <= sum(durations)
