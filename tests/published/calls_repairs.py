"""Adaptors that build models for the printed values of choosing and ordering repairs."""

from __future__ import annotations

from driveout.repairs import (
    AccessCost,
    Attempt,
    AttemptOrder,
    Choice,
    Limits,
    RepairOption,
    attempt_order,
    choose,
)


def projects(revenues: list[int], machines: list[int], needs: list[list[int]]) -> Choice:
    """Projects as repairs with uplift, machines as access paid once."""
    return choose(
        [
            RepairOption(f"P{i}", f"P{i}", revenue, 0, 0.0, tuple(f"M{m}" for m in needs[i - 1]))
            for i, revenue in enumerate(revenues, start=1)
        ],
        [AccessCost(f"M{m}", 0.0, price) for m, price in enumerate(machines, start=1)],
    )


def project_names(revenues: list[int], machines: list[int], needs: list[list[int]]) -> str:
    return " ".join(projects(revenues, machines, needs).best.options)


def knapsack(values: list[int], weights: list[int], capacity: int) -> int:
    """Best value within a limit on hours."""
    items = [
        RepairOption(f"i{n}", f"i{n}", value, 0, float(weight))
        for n, (value, weight) in enumerate(zip(values, weights, strict=True))
    ]
    return choose(items, limits=Limits(hours=capacity)).best.value


def figure_one() -> AttemptOrder:
    """Four causes, three actions of unit cost, each curing two neighbouring causes."""
    return attempt_order(
        {"1": 0.20, "2": 0.25, "3": 0.40, "4": 0.15},
        [
            Attempt("A1", 1.0, {"1": 1.0, "2": 1.0}),
            Attempt("A2", 1.0, {"2": 1.0, "3": 1.0}),
            Attempt("A3", 1.0, {"3": 1.0, "4": 1.0}),
        ],
    )


def figure_one_order() -> str:
    return " ".join(figure_one().order)
