"""Size of the plan that a phone carries: 10 checks, 61 prices, 40 faults, 5 findings known already.

Nine seeded viewings; ``nodes`` and ``gz_bytes`` are the median ones, ``most_...`` the largest.
Checks take 5 to 45 minutes at 18 an hour and up to 12 in money; an all-sound car brings 5500.
``any_price_...`` keeps the advice for prices above those at which a position is reached as well.
``gz_bytes`` is the advice as the saved sheet holds it (steps and ceilings), ``with_stops_gz_bytes`` the
same with the limit of each position when no further check is done; ``readable_gz_bytes`` is the table
for people and programs, which says the same as ``gz_bytes``.
"""

from __future__ import annotations

import gzip
import json
import statistics
from dataclasses import replace
from time import perf_counter
from typing import Any

import numpy as np

from bench.checks import a_network
from driveout.faults import Beta, compile_network
from driveout.viewing import FaultCheck, FaultViewing, as_table, plan_faults
from driveout.viewing.packed import packed, unpacked

SEEDS = range(9)
PRICES = 61


def a_viewing(seed: int) -> FaultViewing:
    rng = np.random.default_rng(seed)
    network = a_network(rng, causes=40, findings=15, least=2, most=8)
    priors = rng.beta(1.2, 10.0, size=40)
    causes = tuple(replace(c, prior=Beta.of(float(p))) for c, p in zip(network.causes, priors, strict=True))
    network = replace(network, causes=causes)
    checks = [
        FaultCheck(f"k{n}", (f"f{n}",), cost=float(rng.uniform(0, 12)), minutes=float(rng.integers(5, 46)))
        for n in range(10)
    ]
    return FaultViewing(
        compiled=compile_network(network),
        evidence={f"f{n}": "yes" for n in range(10, 15)},
        checks=tuple(checks),
        resale=5500.0,
        costs={f"c{i}": float(rng.lognormal(5.5, 0.8)) for i in range(40)},
        wage_per_hour=18.0,
    )


def size(table: dict[str, Any]) -> int:
    return len(gzip.compress(json.dumps(table, separators=(",", ":")).encode(), 9))


def _without_stops(table: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if key != "stops"}


def run(argv: list[str]) -> dict[str, Any]:
    """``nodes`` and ``gz_bytes`` of the advice that the saved sheet holds."""
    nodes, sizes, wide_nodes, wide_sizes, readable, whole, seconds, wrong = [], [], [], [], [], [], [], 0
    for seed in SEEDS:
        plan = plan_faults(a_viewing(seed))
        fair = plan.ceiling_without_checks
        prices = np.linspace(fair - 1500.0, fair + 1500.0, PRICES).round()
        begun = perf_counter()
        policy = plan.policy(prices)
        seconds.append(perf_counter() - begun)
        table = packed(policy)
        again = unpacked(
            json.loads(json.dumps(table)), policy.outcomes, (policy.start,), policy.price_range[0]
        )
        # Ceilings are written in whole units of money; everything else must come back as it was.
        wrong += sum(
            again[position].step_at(price) != node.step_at(price)
            for position, node in policy.nodes.items()
            for price in prices
            if node.ceiling is None or abs(price - node.ceiling) >= 1.0
        )
        wide_policy = plan.policy(prices, seller_may_ask_more=True)
        readable.append(size(as_table(policy)))
        nodes.append(len(policy.nodes))
        whole.append(size(table))
        sizes.append(size(_without_stops(table)))
        wide_nodes.append(len(wide_policy.nodes))
        wide_sizes.append(size(_without_stops(packed(wide_policy))))
    return {
        "nodes": int(statistics.median(nodes)),
        "gz_bytes": int(statistics.median(sizes)),
        "most_nodes": max(nodes),
        "most_gz_bytes": max(sizes),
        "any_price_nodes": int(statistics.median(wide_nodes)),
        "any_price_gz_bytes": int(statistics.median(wide_sizes)),
        "with_stops_gz_bytes": int(statistics.median(whole)),
        "most_with_stops_gz_bytes": max(whole),
        "readable_gz_bytes": int(statistics.median(readable)),
        "plan_s": statistics.median(seconds),
        "wrong_after_reading_back": wrong,
        "viewings": len(SEEDS),
    }
