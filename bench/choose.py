"""Choosing repairs: the closed set by one minimum cut, and the choice within limits.

The closure is an open pit in miniature: 20 layers of 50 blocks, each block needs the three above
it, worth grows with depth, and one stretch is richer than the rest. The peer is networkx on the same graph in the same run.
"""

from __future__ import annotations

import importlib
import itertools
import random
import statistics
from time import perf_counter
from typing import Any

import networkx as nx

from driveout.errors import CannotSay
from driveout.repairs import AccessCost, Limits, RepairOption, best_closure, choose
from driveout.repairs.choose import _Job

LAYERS, WIDTH = 20, 50
SMALL_JOBS, LIMITED_JOBS, WAGE = 300, 9, 7


def a_pit(seed: int) -> tuple[list[int], list[tuple[int, int]]]:
    rng = random.Random(seed)
    weights = [
        round(rng.gauss(-45 + 3.0 * layer + (55 if 10 <= column < 30 else -15), 45))
        for layer in range(LAYERS)
        for column in range(WIDTH)
    ]
    needs = [
        (layer * WIDTH + column, (layer - 1) * WIDTH + (column + step) % WIDTH)
        for layer in range(1, LAYERS)
        for column in range(WIDTH)
        for step in (-1, 0, 1)
    ]
    return weights, needs


def peer_cut(weights: list[int], needs: list[tuple[int, int]]) -> tuple[float, int]:
    graph = nx.DiGraph()
    for node, weight in enumerate(weights):
        if weight > 0:
            graph.add_edge("source", node, capacity=weight)
        elif weight < 0:
            graph.add_edge(node, "sink", capacity=-weight)
    graph.add_edges_from(needs)
    began = perf_counter()
    cut = nx.minimum_cut_value(graph, "source", "sink")
    return perf_counter() - began, sum(w for w in weights if w > 0) - cut


def a_large_job(seed: int) -> tuple[list[RepairOption], list[AccessCost]]:
    """300 access items and 30 repairs."""
    rng = random.Random(seed)
    access = [
        AccessCost(
            f"g{i}",
            rng.uniform(0.1, 1.0),
            rng.randint(0, 300),
            tuple({f"g{rng.randrange(i)}" for _ in range(rng.choice([0, 1, 2]))}) if i else (),
        )
        for i in range(300)
    ]
    options = [
        RepairOption(
            f"r{i}",
            f"r{i}",
            rng.randint(5_000, 60_000),
            rng.randint(1_000, 20_000),
            rng.uniform(0.5, 6),
            tuple({f"g{rng.randrange(300)}" for _ in range(3)}),
        )
        for i in range(30)
    ]
    return options, access


def a_small_job(seed: int) -> tuple[list[RepairOption], list[AccessCost], Limits]:
    rng = random.Random(5_000 + seed)
    access = [
        AccessCost(
            f"g{i}",
            rng.randint(0, 8) / 2,
            rng.randint(0, 20),
            tuple(f"g{j}" for j in range(i) if rng.random() < 0.3),
        )
        for i in range(3)
    ]
    options = [
        RepairOption(
            f"r{i}o{k}",
            f"r{i}",
            rng.randint(0, 120),
            rng.randint(0, 60),
            rng.randint(0, 10) / 2,
            tuple(group.id for group in access if rng.random() < 0.35),
        )
        for i in range(5)
        for k in range(rng.choice([1, 1, 2]))
    ]
    limits = rng.choice([Limits(), Limits(rng.randint(20, 150)), Limits(None, rng.randint(2, 15))])
    return options, access, limits


def by_trying_all(options: list[RepairOption], access: list[AccessCost], limits: Limits) -> int:
    by_repair: dict[str, list[RepairOption]] = {}
    for option in options:
        by_repair.setdefault(option.repair, []).append(option)
    groups = {group.id: group for group in access}
    best = 0
    for combination in itertools.product(*([None, *ways] for ways in by_repair.values())):
        taken = [option for option in combination if option]
        opened: set[str] = set()
        todo = [name for option in taken for name in option.access]
        while todo:
            name = todo.pop()
            if name not in opened:
                opened.add(name)
                todo += groups[name].needs
        rows: list[RepairOption | AccessCost] = [*taken, *(groups[g] for g in opened)]
        money, hours = sum(row.money for row in rows), sum(row.hours for row in rows)
        if (limits.budget is not None and money > limits.budget) or (
            limits.hours is not None and hours > limits.hours
        ):
            continue
        worth = sum(o.uplift for o in taken) - money - sum(round(WAGE * row.hours) for row in rows)
        best = max(best, worth)
    return best


def run(argv: list[str]) -> dict[str, Any]:
    """Milliseconds for the closure and the limited choice, ratio to networkx, mismatches."""
    best_closure(*a_pit(99))
    times, ratios, different = [], [], 0
    for seed in range(9):
        weights, needs = a_pit(seed)
        began = perf_counter()
        value, taken = best_closure(weights, needs)
        times.append(perf_counter() - began)
        peer, peer_value = peer_cut(weights, needs)
        ratios.append(peer / times[-1])
        different += value != peer_value
    limited = []
    for seed in range(LIMITED_JOBS):
        options, access = a_large_job(seed)
        job = _Job(options, access, 1500)
        free = job.best(Limits())
        assert free is not None
        bounds = Limits(free.money // 2, free.hours * 0.6)
        began = perf_counter()
        job.best(bounds)
        limited.append(perf_counter() - began)
    mismatches = 0
    module = importlib.import_module("driveout.repairs.choose")
    ways = module.MOST_WAYS
    for seed in range(SMALL_JOBS):
        # Half of the small jobs go to the integer programme.
        module.MOST_WAYS = ways if seed % 2 else 0  # type: ignore[attr-defined]
        options, access, limits = a_small_job(seed)
        try:
            found = choose(options, access, WAGE, limits).best.value
        except CannotSay:
            found = 0
        mismatches += found != by_trying_all(options, access, limits)
    module.MOST_WAYS = ways  # type: ignore[attr-defined]
    return {
        "ms": round(1000 * statistics.median(times), 3),
        "ratio_networkx": round(statistics.median(ratios), 1),
        "different_from_networkx": different,
        "taken_share": round(len(taken) / (LAYERS * WIDTH), 3),
        "ms_limited": round(1000 * statistics.median(limited[1:]), 2),
        "mismatches": mismatches,
        "brute_force_jobs": SMALL_JOBS,
    }
