"""Least effort to get at six targets: speed at 400 and 3000 items, and brute force on small circles.

Graphs grow from the outside in: each item waits for 0 to 3 earlier ones, a quarter of the needs
have two or three alternatives, and pairs of items block each other unless another way is taken.
Times are after the solver's import, the median over graphs; half of the small graphs take the
short way without the solver, half the integer programme.
"""

from __future__ import annotations

import random
import statistics
from time import perf_counter
from typing import Any

from driveout.errors import CannotSay
from driveout.workshop import access
from driveout.workshop.access import AccessItem, least_release

GRAPHS, LARGE_GRAPHS, SMALL_GRAPHS = 31, 5, 300


def a_graph(
    seed: int, size: int, targets: int = 6, share: float = 0.25, blocks: int = 10
) -> tuple[dict[str, AccessItem], list[str]]:
    rng = random.Random(seed)
    names = [f"i{k}" for k in range(size)]
    needs: list[list[tuple[tuple[str, ...], ...]]] = [[] for _ in names]
    for k in range(1, size):
        first = max(0, k - 60)
        for _ in range(rng.choice([0, 1, 1, 2, 2, 3])):
            width = rng.choice([2, 3]) if rng.random() < share else 1
            ways = rng.sample(range(first, k), min(k - first, width))
            needs[k].append(tuple((names[a],) for a in ways))
    for _ in range(blocks):
        one = rng.randrange(size // 10, size - 2)
        two = one + rng.randrange(1, min(20, size - one))
        needs[one].append(((names[two],), (names[rng.randrange(one)],)))
        needs[two].append(((names[one],), (names[rng.randrange(one)],)))
    items = {name: AccessItem(name, rng.randint(1, 40), tuple(needs[k])) for k, name in enumerate(names)}
    return items, [names[k] for k in rng.sample(range(int(size * 0.7), size), targets)]


def small_graph(seed: int, size: int = 8) -> tuple[dict[str, AccessItem], list[str]]:
    rng = random.Random(10_000 + seed)
    names = [f"i{k}" for k in range(size)]
    items = {}
    for name in names:
        others = [other for other in names if other != name]
        needs = tuple(
            tuple(
                tuple(rng.sample(others, rng.choice([1, 1, 1, 2]))) for _ in range(rng.choice([1, 1, 2, 3]))
            )
            for _ in range(rng.choice([0, 0, 1, 1, 2]))
        )
        items[name] = AccessItem(name, rng.randint(0, 9), needs)
    return items, rng.sample(names, 2)


def by_trying_all(items: dict[str, AccessItem], targets: list[str]) -> float | None:
    names = list(items)
    best: float | None = None
    for mask in range(1 << len(names)):
        allowed = {name for bit, name in enumerate(names) if mask >> bit & 1}
        cost = sum(items[name].cost for name in allowed)
        if not allowed.issuperset(targets) or (best is not None and cost >= best):
            continue
        done: set[str] = set()
        grew = True
        while grew:
            ready = {
                n
                for n in allowed - done
                if all(any(done.issuperset(w) for w in need) for need in items[n].needs)
            }
            grew = bool(ready)
            done |= ready
        if done == allowed:
            best = cost
    return best


def timed(size: int, graphs: int) -> tuple[list[float], int]:
    times, unproven = [], 0
    for seed in range(graphs):
        items, targets = a_graph(seed, size)
        began = perf_counter()
        release = least_release(items, targets)
        times.append(perf_counter() - began)
        unproven += not release.is_proven
    return times, unproven


def run(argv: list[str]) -> dict[str, Any]:
    """Median and worst milliseconds at 400 items, median seconds at 3000, mismatches against brute force."""
    least_release(*a_graph(99, 400))
    middle, unproven = timed(400, GRAPHS)
    large, unproven_large = timed(3000, LARGE_GRAPHS)
    mismatches, branches = 0, access.MOST_BRANCHES
    for seed in range(SMALL_GRAPHS):
        items, targets = small_graph(seed)
        access.MOST_BRANCHES = branches if seed % 2 else 0
        try:
            found: float | None = least_release(items, targets).cost
        except CannotSay:
            found = None
        mismatches += found != by_trying_all(items, targets)
    access.MOST_BRANCHES = branches
    return {
        "p50_ms": round(1000 * statistics.median(middle), 2),
        "max_ms": round(1000 * max(middle), 2),
        "s3000": round(statistics.median(large), 3),
        "s3000_max": round(max(large), 3),
        "unproven": unproven + unproven_large,
        "mismatches": mismatches,
        "brute_force_graphs": SMALL_GRAPHS,
    }
