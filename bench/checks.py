"""Which check next: the exact plan against pyAgrum's influence diagrams, and alone up to 14 checks.

Four faults, four two-way checks that may be done in any order or left, then buy or walk.
The diagram has one decision per slot ("which check now, or none"), as the pyAgrum manual
shows for several decisions; both sides are built beforehand and only solved while timed.
"""

from __future__ import annotations

import statistics
from time import perf_counter
from typing import Any

import numpy as np
import pyagrum as gum
from pyagrum import influence_diagram

from driveout.faults import Beta, Cause, Finding, Link, Network, compile_network
from driveout.viewing import FaultCheck, FaultPlan, FaultViewing, best_now, prepare

ROUNDS = 5
# One of our answers takes microseconds; it is timed in runs of this many.
RUN = 200


def a_network(rng: np.random.Generator, causes: int, findings: int, least: int, most: int) -> Network:
    rows = []
    for number in range(findings):
        count = int(rng.integers(least, most + 1))
        linked = sorted(rng.choice(causes, size=min(causes, count), replace=False))
        links = tuple(Link(f"c{i}", (Beta.of(float(rng.uniform(0.3, 0.95))),)) for i in linked)
        rows.append(Finding(f"f{number}", f"f{number}", links, (Beta.of(float(rng.uniform(0.01, 0.1))),)))
    priors = rng.uniform(0.03, 0.3, size=causes)
    return Network(
        tuple(Cause(f"c{i}", f"c{i}", Beta.of(float(p))) for i, p in enumerate(priors)), tuple(rows)
    )


def a_viewing(
    rng: np.random.Generator, causes: int, checks: int, known: int, least: int, most: int
) -> FaultViewing:
    network = a_network(rng, causes, checks + known, least, most)
    return FaultViewing(
        compiled=compile_network(network),
        evidence={f"f{checks + n}": "yes" for n in range(known)},
        checks=tuple(
            FaultCheck(f"k{n}", (f"f{n}",), cost=float(rng.uniform(2.0, 15.0))) for n in range(checks)
        ),
        resale=4000.0,
        costs={f"c{i}": float(rng.lognormal(5.5, 0.8)) for i in range(causes)},
    )


def a_diagram(viewing: FaultViewing, price: float) -> gum.InfluenceDiagram:
    """Same faults, checks and money; utility per fault, so that no table grows with all of them."""
    network = viewing.compiled.network
    checks = viewing.checks
    diagram = gum.InfluenceDiagram()
    for cause in network.causes:
        diagram.addChanceNode(gum.LabelizedVariable(cause.id, "", 2))
        diagram.cpt(cause.id)[:] = [1.0 - cause.prior.mean, cause.prior.mean]
    for check in checks:
        finding = network.finding[check.findings[0]]
        diagram.addChanceNode(gum.LabelizedVariable(check.id, "", 2))
        parents = [link.cause for link in finding.links]
        for parent in parents:
            diagram.addArc(parent, check.id)
        for flags in np.ndindex(*(2,) * len(parents)):
            quiet = 1.0 - finding.false_alarm[0].mean
            for link, flag in zip(finding.links, flags, strict=True):
                quiet *= 1.0 - link.given[0].mean if flag else 1.0
            diagram.cpt(check.id)[dict(zip(parents, flags, strict=True))] = [quiet, 1.0 - quiet]
    none = len(checks)
    seen: list[str] = []
    for slot in range(len(checks)):
        choice, reading, cost = f"d{slot}", f"r{slot}", f"u{slot}"
        diagram.addDecisionNode(gum.LabelizedVariable(choice, "", none + 1))
        for earlier in seen:
            diagram.addArc(earlier, choice)
        diagram.addChanceNode(gum.LabelizedVariable(reading, "", 3))
        for parent in (choice, *(check.id for check in checks)):
            diagram.addArc(parent, reading)
        for picked in range(none + 1):
            for row in np.ndindex(*(2,) * none):
                point = [0.0, 0.0, 0.0]
                point[2 if picked == none else row[picked]] = 1.0
                where = {choice: picked, **{c.id: flag for c, flag in zip(checks, row, strict=True)}}
                diagram.cpt(reading)[where] = point
        diagram.addUtilityNode(gum.LabelizedVariable(cost, "", 1))
        diagram.addArc(choice, cost)
        for picked in range(none + 1):
            diagram.utility(cost)[{choice: picked}] = [
                0.0 if picked == none else -viewing.cost_of(checks[picked])
            ]
        seen += [choice, reading]
    diagram.addDecisionNode(gum.LabelizedVariable("buy", "", 2))
    for earlier in seen:
        diagram.addArc(earlier, "buy")
    for cause in network.causes:
        name = f"cost {cause.id}"
        diagram.addUtilityNode(gum.LabelizedVariable(name, "", 1))
        diagram.addArc("buy", name)
        diagram.addArc(cause.id, name)
        for flags in np.ndindex(2, 2):
            amount = -viewing.costs[cause.id] if flags == (1, 1) else 0.0
            diagram.utility(name)[{"buy": flags[0], cause.id: flags[1]}] = [amount]
    diagram.addUtilityNode(gum.LabelizedVariable("margin", "", 1))
    diagram.addArc("buy", "margin")
    diagram.utility("margin")[{"buy": 0}] = [0.0]
    diagram.utility("margin")[{"buy": 1}] = [viewing.resale - price]
    return diagram


def against_diagram() -> dict[str, Any]:
    rng = np.random.default_rng(4)
    viewing = a_viewing(rng, causes=4, checks=4, known=0, least=2, most=4)
    prepared = prepare(viewing)
    fair = FaultPlan(prepared).ceiling_without_checks
    prices = [fair - 150.0, fair - 40.0, fair, fair + 40.0, fair + 120.0]
    best_now(prepared, fair)
    ours, theirs, apart = [], [], []
    for price in prices[:ROUNDS]:
        diagram = a_diagram(viewing, price)
        begun = perf_counter()
        engine = influence_diagram.ShaferShenoyLIMIDInference(diagram)
        engine.makeInference()
        expected = float(engine.MEU()["mean"])
        theirs.append(perf_counter() - begun)
        begun = perf_counter()
        for _ in range(RUN):
            value, _ = best_now(prepared, price)
        ours.append((perf_counter() - begun) / RUN)
        apart.append(abs(value - expected))
    return {
        "ratio": statistics.median(theirs) / statistics.median(ours),
        "max_abs_diff": max(apart),
        "ours_s": statistics.median(ours),
        "peer_s": statistics.median(theirs),
        "rounds": ROUNDS,
    }


def alone(checks: int) -> float:
    """Seconds from prepared arrays to value and best step of every position, at one price."""
    viewing = a_viewing(np.random.default_rng(checks), causes=40, checks=checks, known=5, least=2, most=8)
    prepared = prepare(viewing)
    price = FaultPlan(prepared).ceiling_without_checks
    times = []
    for _ in range(ROUNDS):
        begun = perf_counter()
        FaultPlan(prepared).value(price)
        times.append(perf_counter() - begun)
    return statistics.median(times)


def run(argv: list[str]) -> dict[str, Any]:
    """``ratio`` and ``max_abs_diff`` at 4 checks; ``k8_s`` to ``k14_s`` alone, 40 faults, 5 positive findings."""
    return {**against_diagram(), **{f"k{checks}_s": alone(checks) for checks in (8, 10, 12, 14)}}
