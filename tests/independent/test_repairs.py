"""Choosing and ordering repairs against brute force and another library."""

from __future__ import annotations

import itertools
import random
from importlib import import_module

import networkx as nx
import pytest

from driveout.errors import CannotSay
from driveout.repairs import AccessCost, Attempt, Limits, RepairOption, attempt_order, best_closure, choose
from driveout.repairs.order import _Attempts

WAGE = 7


def random_job(seed: int) -> tuple[list[RepairOption], list[AccessCost], Limits]:
    rng = random.Random(seed)
    access = [
        AccessCost(
            f"g{i}",
            rng.randint(0, 8) / 2,
            rng.randint(0, 20),
            tuple(f"g{j}" for j in range(i) if rng.random() < 0.3),
        )
        for i in range(3)
    ]
    options = []
    for i in range(5):
        must = rng.random() < 0.1
        for k in range(rng.choice([1, 1, 2])):
            options.append(
                RepairOption(
                    f"r{i}o{k}",
                    f"r{i}",
                    rng.randint(0, 120),
                    rng.randint(0, 60),
                    rng.randint(0, 10) / 2,
                    tuple(group.id for group in access if rng.random() < 0.35),
                    tuple(f"r{j}" for j in range(i) if rng.random() < 0.1),
                    must,
                )
            )
    limits = rng.choice(
        [
            Limits(),
            Limits(budget=rng.randint(20, 150)),
            Limits(hours=rng.randint(2, 15)),
            Limits(rng.randint(20, 150), rng.randint(2, 15)),
        ]
    )
    return options, access, limits


def values_by_trying_all(options: list[RepairOption], access: list[AccessCost], limits: Limits) -> list[int]:
    """Values of all plans that are allowed, best first."""
    by_repair: dict[str, list[RepairOption]] = {}
    for option in options:
        by_repair.setdefault(option.repair, []).append(option)
    must = {option.repair for option in options if option.is_mandatory}
    groups = {group.id: group for group in access}
    values = []
    for combination in itertools.product(*([None, *ways] for ways in by_repair.values())):
        taken = [option for option in combination if option]
        repairs = {option.repair for option in taken}
        if must - repairs or any(need not in repairs for option in taken for need in option.needs):
            continue
        opened: set[str] = set()
        todo = [name for option in taken for name in option.access]
        while todo:
            name = todo.pop()
            if name not in opened:
                opened.add(name)
                todo += groups[name].needs
        money = sum(o.money for o in taken) + sum(groups[g].money for g in opened)
        hours = sum(o.hours for o in taken) + sum(groups[g].hours for g in opened)
        if (limits.budget is not None and money > limits.budget) or (
            limits.hours is not None and hours > limits.hours
        ):
            continue
        values.append(
            sum(o.uplift - o.money - round(WAGE * o.hours) for o in taken)
            - sum(groups[g].money + round(WAGE * groups[g].hours) for g in opened)
        )
    return sorted(values, reverse=True)


@pytest.mark.parametrize("ways", [1000, 0], ids=["one by one", "integer programme"])
def test_the_choice_equals_trying_every_plan_on_300_jobs(ways: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(import_module("driveout.repairs.choose"), "MOST_WAYS", ways)
    for seed in range(300):
        options, access, limits = random_job(seed)
        values = values_by_trying_all(options, access, limits)
        if not values:
            with pytest.raises(CannotSay, match="mandatory"):
                choose(options, access, WAGE, limits)
            continue
        choice = choose(options, access, WAGE, limits)

        assert choice.best.value == values[0], seed
        if len(values) > 1:
            assert choice.runner_up is not None
            assert choice.runner_up.value == values[1], seed


def test_the_best_closed_set_equals_a_minimum_cut_of_another_library() -> None:
    for seed in range(20):
        rng = random.Random(seed)
        weights = [rng.randint(-90, 110) for _ in range(120)]
        needs = [(i, rng.randrange(i)) for i in range(1, 120) for _ in range(rng.choice([0, 1, 1, 2]))]
        graph = nx.DiGraph()
        graph.add_nodes_from(["source", "sink"])
        for i, weight in enumerate(weights):
            if weight > 0:
                graph.add_edge("source", i, capacity=weight)
            elif weight < 0:
                graph.add_edge(i, "sink", capacity=-weight)
        graph.add_edges_from(needs)
        cut = nx.minimum_cut_value(graph, "source", "sink")
        value, taken = best_closure(weights, needs)

        assert value == sum(w for w in weights if w > 0) - cut
        assert value == sum(weights[i] for i in taken)
        assert all(needed in taken for node, needed in needs if node in taken)


def random_forest(seed: int, count: int = 7) -> tuple[dict[str, float], list[Attempt]]:
    rng = random.Random(seed)
    weights = [rng.random() if rng.random() < 0.8 else 0.0 for _ in range(count)]
    total = sum(weights) * 1.1
    causes = {f"c{i}": weight / total for i, weight in enumerate(weights)}
    attempts = [
        Attempt(
            f"a{i}",
            rng.uniform(0.5, 5),
            {f"c{i}": 1.0},
            (f"a{rng.randrange(i)}",) if i and rng.random() < 0.7 else (),
        )
        for i in range(count)
    ]
    return causes, attempts


def least_by_every_order(job: _Attempts) -> float:
    best = float("inf")
    count = len(job.names)
    for order in itertools.permutations(range(count)):
        if any(not job.before[i] <= set(order[:k]) for k, i in enumerate(order)):
            continue
        tried: frozenset[int] = frozenset()
        useful = []
        for i in order:
            if job.is_finished(tried):
                break
            useful.append(i)
            tried |= {i}
        best = min(best, job.cost_of(useful))
    return best


def test_blocks_and_the_exact_programme_equal_every_order_on_random_forests() -> None:
    for seed in range(60):
        causes, attempts = random_forest(seed)
        job = _Attempts(causes, attempts)
        wanted = least_by_every_order(job)

        assert job.cost_of(job.by_blocks()) == pytest.approx(wanted, abs=1e-9)
        assert job.cost_of(job.by_every_order()) == pytest.approx(wanted, abs=1e-9)
        assert job.bound() <= wanted + 1e-9


def test_overlapping_cures_are_ordered_exactly_and_never_worse_than_the_ratio_rule() -> None:
    for seed in range(40):
        rng = random.Random(seed)
        causes = {f"c{i}": 0.19 for i in range(5)}
        attempts = [
            Attempt(
                f"a{i}",
                rng.uniform(0.5, 4),
                {c: rng.choice([0.5, 0.9, 1.0]) for c in rng.sample(list(causes), 2)},
            )
            for i in range(6)
        ]
        order = attempt_order(causes, attempts)

        assert order.expected_cost == pytest.approx(
            least_by_every_order(_Attempts(causes, attempts)), abs=1e-9
        )
        assert order.bound - 1e-9 <= order.expected_cost <= order.ratio_cost + 1e-9
