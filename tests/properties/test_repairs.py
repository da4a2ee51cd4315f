"""What must hold for any choice of repairs."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.errors import CannotSay
from driveout.repairs import AccessCost, Attempt, Limits, RepairOption, attempt_order, best_closure, choose
from driveout.repairs.catalogue import WhileThere
from driveout.repairs.choose import now_or_later
from driveout.uncertain import ThreePoint

options = st.builds(
    lambda n, up, money, hours, doors: RepairOption(
        f"r{n}", f"r{n}", up, money, hours, tuple(f"g{d}" for d in sorted(doors))
    ),
    st.integers(0, 10_000),
    st.integers(0, 50_000),
    st.integers(0, 20_000),
    st.integers(0, 40).map(lambda h: h / 4),
    st.sets(st.integers(0, 2), max_size=3),
)
jobs = st.lists(options, min_size=1, max_size=6, unique_by=lambda option: option.id)
doors = st.tuples(*[st.integers(0, 40).map(lambda h: h / 4)] * 3).map(
    lambda hours: [AccessCost(f"g{i}", h) for i, h in enumerate(hours)]
)


@settings(max_examples=60)
@given(jobs, doors, st.integers(0, 3000))
def test_shared_access_is_never_dearer_than_one_repair_after_the_other(
    repairs: list[RepairOption], access: list[AccessCost], wage: int
) -> None:
    choice = choose(repairs, access, wage)
    apart = sum(choose([option], access, wage).best.value for option in repairs)

    assert choice.best.value >= apart
    assert choice.saved_hours >= -1e-9


@settings(max_examples=60)
@given(jobs, doors, st.integers(0, 3000), st.integers(0, 60_000), st.integers(0, 40))
def test_a_limit_never_raises_the_worth_and_its_price_is_what_is_lost(
    repairs: list[RepairOption], access: list[AccessCost], wage: int, budget: int, hours: int
) -> None:
    free = choose(repairs, access, wage).best
    held = choose(repairs, access, wage, Limits(budget, float(hours)))

    assert held.best.value <= free.value
    assert held.best.money <= budget
    assert held.best.hours <= hours + 1e-3
    assert all(price >= 0 for price in held.limit_costs.values())
    if held.runner_up:
        assert held.runner_up.value <= held.best.value


@settings(max_examples=60)
@given(jobs, doors, st.integers(0, 2000), st.integers(0, 2000))
def test_a_dearer_hour_never_makes_the_plan_longer(
    repairs: list[RepairOption], access: list[AccessCost], wage: int, more: int
) -> None:
    # Closures are nested in the wage; money is charged in whole minor units, so compare at equal rounding.
    cheap = choose(repairs, access, 4 * wage).best
    dear = choose(repairs, access, 4 * (wage + more)).best

    assert dear.hours <= cheap.hours + 1e-9


@settings(max_examples=40)
@given(jobs, doors, st.integers(0, 2000), st.data())
def test_a_mandatory_repair_is_always_taken(
    repairs: list[RepairOption], access: list[AccessCost], wage: int, data: st.DataObject
) -> None:
    chosen = data.draw(st.sampled_from(repairs)).id
    forced = [
        RepairOption(o.id, o.repair, o.uplift, o.money, o.hours, o.access, is_mandatory=o.id == chosen)
        for o in repairs
    ]
    assert chosen in choose(forced, access, wage).best.options
    needed = next(o.money for o in forced if o.is_mandatory)
    if needed > 5000:
        with pytest.raises(CannotSay, match="do not fit"):
            choose(forced, access, wage, Limits(budget=5000))
    else:
        assert chosen in choose(forced, access, wage, Limits(budget=5000)).best.options


@settings(max_examples=60)
@given(
    st.lists(st.integers(-50, 50), min_size=1, max_size=12),
    st.lists(st.tuples(st.integers(0, 11), st.integers(0, 11)), max_size=20),
)
def test_a_closed_set_brings_everything_it_needs_and_never_loses(
    weights: list[int], pairs: list[tuple[int, int]]
) -> None:
    needs = [(a, b) for a, b in pairs if a < len(weights) and b < len(weights)]
    value, taken = best_closure(weights, needs)

    assert value >= 0
    assert value == sum(weights[i] for i in taken)
    assert all(b in taken for a, b in needs if a in taken)


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.floats(0.01, 1), st.floats(0.1, 10), st.floats(0.1, 1)), min_size=13, max_size=16)
)
def test_beyond_twelve_attempts_the_order_is_never_worse_than_the_ratio_rule(
    rows: list[tuple[float, float, float]],
) -> None:
    total = sum(weight for weight, _, _ in rows) * 1.05
    causes = {f"c{i}": weight / total for i, (weight, _, _) in enumerate(rows)}
    attempts = [
        Attempt(f"a{i}", cost, {f"c{i}": chance, f"c{(i + 1) % len(rows)}": chance / 2})
        for i, (_, cost, chance) in enumerate(rows)
    ]
    order = attempt_order(causes, attempts)

    assert not order.is_exact
    assert order.bound - 1e-9 <= order.expected_cost <= order.ratio_cost + 1e-9
    assert sorted(order.order) == sorted(set(order.order))


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 5), st.floats(0, 20), st.integers(0, 5000))
def test_a_greater_chance_of_failure_speaks_more_for_doing_it_now(
    low: float, high: float, now: float, later: float, wage: int
) -> None:
    item = WhileThere("x", "seal", "gearbox_out", ThreePoint(1000, 2000, 4000), now, later, 0.1, "always")
    less, more = sorted((low, high))

    assert (
        now_or_later(item, wage, chance_later=less).saving
        <= now_or_later(item, wage, chance_later=more).saving
    )
