"""Walk-away prices of 1000 adverts: exact transform against naive likelihood weighting in NumPy."""

from __future__ import annotations

import argparse
import math
import statistics
import time
from typing import Any

import numpy as np

from driveout.faults import Beta, Cause, Finding, Link, Network, compile_network, infer
from driveout.outlook import Case, CostBook, Forecast, Mend, Piece, Rules, chances_of
from driveout.outlook.many import OneOfMany, loss_ceilings
from driveout.uncertain import Lognormal, ThreePoint, fitted

CAUSES, FINDINGS = 40, 60
SHARE = 0.10
RULES = Rules(
    loss_chance=SHARE,
    holding_per_day=0.0,
    purchase_tax_share=0.0,
    capital_share_per_year=0.0,
    chosen=("loss",),
)
LARGEST = 1_600_000.0  # cents; no drawn car comes near


def a_network(rng: np.random.Generator) -> Network:
    """Random two-layer noisy-OR net: 40 faults, 60 findings with 2 to 8 parents each."""
    causes = tuple(
        Cause(f"c{i}", f"Cause {i}", Beta.of(float(p))) for i, p in enumerate(rng.uniform(0.02, 0.2, CAUSES))
    )
    findings = []
    for k in range(FINDINGS):
        parents = rng.choice(CAUSES, size=int(rng.integers(2, 9)), replace=False)
        links = tuple(Link(f"c{i}", (Beta.of(float(rng.uniform(0.2, 0.9))),)) for i in parents)
        findings.append(Finding(f"f{k}", f"Finding {k}", links, (Beta.of(float(rng.uniform(0.01, 0.08))),)))
    return Network(causes, tuple(findings))


def a_book(rng: np.random.Generator) -> CostBook:
    """One cost law a fault, in cents: half lognormal, half gamma through three points."""
    mends = []
    for i in range(CAUSES):
        median = float(rng.lognormal(math.log(25_000), 0.7))
        law = (
            Lognormal(math.log(median), float(rng.uniform(0.3, 0.6)))
            if i % 2
            else fitted(ThreePoint(0.6 * median, 0.9 * median, 1.9 * median), "gamma")
        )
        mends.append(Mend(f"c{i}", f"c{i}", (Piece(f"c{i}", law),)))
    return CostBook(tuple(mends))


def some_cars(network: Network, rng: np.random.Generator, count: int) -> list[OneOfMany]:
    """Cars drawn from the network itself; 15 findings looked at, at most 7 of them there."""
    prior = np.array([c.prior.mean for c in network.causes])
    place = {c.id: i for i, c in enumerate(network.causes)}
    cars: list[OneOfMany] = []
    while len(cars) < count:
        present = rng.random(CAUSES) < prior
        looked = rng.choice(FINDINGS, size=15, replace=False)
        evidence = {}
        for k in looked:
            finding = network.findings[k]
            miss = 1.0 - finding.false_alarm[0].mean
            for link in finding.links:
                if present[place[link.cause]]:
                    miss *= 1.0 - link.given[0].mean
            evidence[finding.id] = "yes" if rng.random() > miss else "no"
        positives = sum(label == "yes" for label in evidence.values())
        if 2 <= positives <= 7:
            low = float(rng.uniform(300_000, 500_000))
            cars.append(OneOfMany(evidence, (low, low * float(rng.uniform(1.15, 1.4)))))
    return cars


class Weighted:
    """The peer: draw fault sets from their prior, weigh by the evidence, take the weighted quantile."""

    def __init__(self, network: Network, book: CostBook) -> None:
        place = {c.id: i for i, c in enumerate(network.causes)}
        self.prior = np.array([c.prior.mean for c in network.causes])
        self.log_miss = np.zeros((FINDINGS, CAUSES))
        self.log_leak = np.zeros(FINDINGS)
        for k, finding in enumerate(network.findings):
            self.log_leak[k] = math.log1p(-finding.false_alarm[0].mean)
            for link in finding.links:
                self.log_miss[k, place[link.cause]] = math.log1p(-link.given[0].mean)
        self.number = {f.id: k for k, f in enumerate(network.findings)}
        self.laws = [mend.pieces[0].money for mend in book.mends]

    def ceiling(self, car: OneOfMany, draws: int, rng: np.random.Generator) -> float:
        faults = (rng.random((draws, CAUSES)) < self.prior).astype(float)
        looked = np.array([self.number[f] for f in car.evidence])
        there = np.array([label == "yes" for label in car.evidence.values()])
        log_no = faults @ self.log_miss[looked].T + self.log_leak[looked]
        weight = np.exp(np.where(there, np.log1p(-np.exp(np.minimum(log_no, -1e-12))), log_no).sum(axis=1))
        cost = np.zeros(draws)
        for i, law in enumerate(self.laws):
            here = faults[:, i] > 0.0
            cost[here] += law.sample(rng, int(here.sum()))
        low, high = car.value
        sigma = math.log(high / low) / (2 * 1.2815515655446004)
        left = np.exp(0.5 * math.log(low * high) + sigma * rng.standard_normal(draws)) - cost
        order = np.argsort(left)
        cumulative = np.cumsum(weight[order])
        return float(left[order[np.searchsorted(cumulative, SHARE * cumulative[-1])]])


def run(argv: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="bench adverts")
    parser.add_argument("--adverts", type=int, default=1000)
    parser.add_argument("--draws", type=int, default=10_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument(
        "--check-draws", type=int, default=0, help="simulate one car with this many exact draws"
    )
    given = parser.parse_args(argv)
    rng = np.random.default_rng(44)
    network, book = a_network(rng), a_book(rng)
    cars = some_cars(network, rng, given.adverts)
    compiled, peer = compile_network(network), Weighted(network, book)
    loss_ceilings(compiled, book, RULES, cars[:2], largest_cost=LARGEST)
    ours_s, peer_s = [], []
    ours = np.empty(0)
    theirs = np.empty(0)
    share = max(given.adverts // given.rounds, 1)
    for turn in range(given.rounds):
        began = time.perf_counter()
        ours = loss_ceilings(compiled, book, RULES, cars, largest_cost=LARGEST)
        ours_s.append((time.perf_counter() - began) / len(cars))
        some = cars[turn * share : (turn + 1) * share]
        draw = np.random.default_rng(turn)
        began = time.perf_counter()
        found = [peer.ceiling(car, given.draws, draw) for car in some]
        peer_s.append((time.perf_counter() - began) / len(some))
        theirs = np.concatenate([theirs, found])
    reference = loss_ceilings(compiled, book, RULES, cars, largest_cost=LARGEST, points=4096)
    ratios = [theirs_s / own_s for theirs_s, own_s in zip(peer_s, ours_s, strict=True)]
    result: dict[str, Any] = {
        "adverts": len(cars),
        "positives_mean": float(np.mean([sum(v == "yes" for v in c.evidence.values()) for c in cars])),
        "ratio": statistics.median(ratios),
        "ours_per_s": 1.0 / statistics.median(ours_s),
        "peer_per_s": 1.0 / statistics.median(peer_s),
        "error_ours": float(np.sqrt(np.mean((ours - reference) ** 2))) / 100.0,
        "error_peer": float(np.sqrt(np.mean((theirs - reference[: len(theirs)]) ** 2))) / 100.0,
    }
    result["error_ratio"] = result["error_peer"] / result["error_ours"]
    # the general way, which shares no inner loop with the fast one, on a few cars
    general = [
        Forecast(Case(chances_of(infer(compiled, car.evidence)), book, car.value, RULES), 8192).cash.quantile(
            SHARE
        )
        for car in cars[:20]
    ]
    result["max_diff_general"] = float(np.max(np.abs(np.array(general) - reference[:20]))) / 100.0
    if given.check_draws:
        result |= _check(compiled, book, cars[0], given.check_draws)
    return result


def _check(compiled: Any, book: CostBook, car: OneOfMany, draws: int) -> dict[str, float]:
    """Chance of a loss at our 10 % price among cars drawn exactly, in standard errors from 10 %."""
    rng = np.random.default_rng(9)
    posterior = infer(compiled, car.evidence)
    price = Forecast(Case(chances_of(posterior), book, car.value, RULES), 8192).cash.quantile(SHARE)
    laws = {mend.fault: mend.pieces[0].money for mend in book.mends}
    low, high = car.value
    sigma = math.log(high / low) / (2 * 1.2815515655446004)
    below, done = 0, 0
    while done < draws:
        count = min(1_000_000, draws - done)
        states = posterior.sample(rng, count)
        left = np.exp(0.5 * math.log(low * high) + sigma * rng.standard_normal(count))
        for i, cause in enumerate(posterior.network.causes):
            here = states[:, i] == 1
            left[here] -= laws[cause.id].sample(rng, int(here.sum()))
        below += int((left < price).sum())
        done += count
    error = math.sqrt(SHARE * (1 - SHARE) / draws)
    return {
        "check_draws": draws,
        "check_share": below / draws,
        "check_standard_errors": (below / draws - SHARE) / error,
    }
