"""Exact posterior of 40 causes and 60 findings against pyAgrum's LazyPropagation.

Both get the same network, built before the clock starts, and the same evidence; both deliver the
probabilities of all 40 causes. Rounds alternate. How long the peer takes depends much on the net and
on the question, so several of each are asked and the ratio is the median over all questions.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from statistics import median
from typing import Any

import numpy as np

from driveout.faults import Beta, Cause, Finding, Link, Network, compile_network, infer, use_fast

CAUSES, FINDINGS = 40, 60


def random_network(rng: np.random.Generator) -> Network:
    """40 causes, 60 binary noisy-OR findings with 2 to 8 parents each."""
    causes = tuple(Cause(f"c{i}", "", Beta.of(float(rng.uniform(0.02, 0.2)))) for i in range(CAUSES))
    findings = tuple(
        Finding(
            f"f{j}",
            "",
            tuple(
                Link(f"c{i}", (Beta.of(float(rng.uniform(0.2, 0.95))),))
                for i in sorted(rng.choice(CAUSES, size=int(rng.integers(2, 9)), replace=False))
            ),
            (Beta.of(float(rng.uniform(0.01, 0.1))),),
        )
        for j in range(FINDINGS)
    )
    return Network(causes, findings, common=0.0)


def random_evidence(rng: np.random.Generator, positives: int, negatives: int) -> dict[str, str]:
    """Different findings, some seen, some not."""
    picked = rng.choice(FINDINGS, size=positives + negatives, replace=False)
    return {f"f{j}": "yes" if k < positives else "no" for k, j in enumerate(picked)}


def agrum_net(network: Network) -> Any:
    """The same network in the peer, with net noisy-OR semantics."""
    import pyagrum as gum

    net = gum.BayesNet()
    for cause in network.causes:
        net.add(gum.LabelizedVariable(cause.id, "", 2))
        net.cpt(cause.id).fillWith([1 - cause.prior.mean, cause.prior.mean])
    for finding in network.findings:
        net.addNoisyORNet(gum.LabelizedVariable(finding.id, "", 2), finding.false_alarm[0].mean)
        for link in finding.links:
            net.addWeightedArc(link.cause, finding.id, link.given[0].mean)
    return net


def peer(net: Any, network: Network) -> Callable[[dict[str, str]], list[float]]:
    """LazyPropagation as its documentation advises: one engine, the causes as its only targets."""
    import pyagrum as gum

    engine = gum.LazyPropagation(net)
    engine.setTargets({cause.id for cause in network.causes})

    def ask(evidence: dict[str, str]) -> list[float]:
        engine.setEvidence({name: int(label == "yes") for name, label in evidence.items()})
        engine.makeInference()
        return [engine.posterior(cause.id)[1] for cause in network.causes]

    return ask


def ours(network: Network) -> Callable[[dict[str, str]], list[float]]:
    """The public call: evidence in, the probabilities of all causes out."""
    compiled = compile_network(network)

    def ask(evidence: dict[str, str]) -> list[float]:
        found: list[float] = infer(compiled, evidence).columns[1::2].tolist()
        return found

    return ask


def seconds(call: Callable[[dict[str, str]], list[float]], evidence: dict[str, str], repeat: int) -> float:
    """Mean seconds of one call."""
    begin = time.perf_counter()
    for _ in range(repeat):
        call(evidence)
    return (time.perf_counter() - begin) / repeat


def compare(
    theirs: Callable[[dict[str, str]], list[float]],
    mine: Callable[[dict[str, str]], list[float]],
    questions: list[dict[str, str]],
    rounds: int,
) -> dict[str, Any]:
    """Alternating rounds; per question the median of the rounds' ratios."""
    difference = 0.0
    peer_s = np.zeros((rounds, len(questions)))
    our_s = np.zeros((rounds, len(questions)))
    for q, evidence in enumerate(questions):
        pairs = zip(theirs(evidence), mine(evidence), strict=True)
        difference = max(difference, *(abs(a - b) for a, b in pairs))
        for r in range(rounds):
            peer_s[r, q] = seconds(theirs, evidence, 1)
            our_s[r, q] = seconds(mine, evidence, 50)
    by_question = np.median(peer_s / our_s, axis=0)
    return {
        "ratio": round(float(np.median(by_question)), 1),
        "ratio_of_totals": round(float(np.median(peer_s.sum(axis=1) / our_s.sum(axis=1))), 1),
        "ratio_by_question": [round(float(x), 1) for x in by_question],
        "peer_ms": round(1e3 * float(np.median(peer_s)), 4),
        "ours_ms": round(1e3 * float(np.median(our_s)), 5),
        "max_abs_diff": difference,
    }


def run(argv: list[str]) -> dict[str, Any]:
    """Measure; ``--rounds`` (at least 5), ``--nets`` and ``--questions`` per net."""
    options = argparse.ArgumentParser(prog="bench posterior")
    options.add_argument("--rounds", type=int, default=5)
    options.add_argument("--nets", type=int, default=5)
    options.add_argument("--questions", type=int, default=3)
    options.add_argument("--seed", type=int, default=0)
    given = options.parse_args(argv)
    rounds = max(5, given.rounds)
    ratios: list[float] = []
    numpy_ratios: list[float] = []
    nets: list[dict[str, Any]] = []
    by_positives: dict[str, Any] = {}
    used = use_fast()
    for number in range(given.nets):
        rng = np.random.default_rng([given.seed, number])
        network = random_network(rng)
        theirs, mine = peer(agrum_net(network), network), ours(network)
        questions = [random_evidence(rng, 10, 12) for _ in range(given.questions)]
        nets.append(compare(theirs, mine, questions, rounds))
        ratios += nets[-1]["ratio_by_question"]
        numpy_ratios.append(1e-3 * nets[-1]["peer_ms"] / _numpy_seconds(mine, questions))
        if number == 0:
            for positives, negatives in ((4, 6), (8, 10), (12, 14)):
                by_positives[str(positives)] = compare(
                    theirs, mine, [random_evidence(rng, positives, negatives)], 5
                )
            largest = random_evidence(rng, 16, 20)  # the peer runs out of memory here: ours alone
            mine(largest)
            by_positives["16"] = {"ours_ms": round(1e3 * seconds(mine, largest, 20), 4)}
    use_fast(False)
    return {
        "causes": CAUSES,
        "findings": FINDINGS,
        "positives": 10,
        "negatives": 12,
        "engine": used,
        "ratio": round(median(ratios), 1),
        "ratio_range": [min(ratios), max(ratios)],
        "max_abs_diff": max(row["max_abs_diff"] for row in nets),
        "numpy_ratio": round(median(numpy_ratios), 1),
        "by_positives": by_positives,
        "nets": nets,
    }


def _numpy_seconds(mine: Callable[[dict[str, str]], list[float]], questions: list[dict[str, str]]) -> float:
    """Median seconds of one question without the compiled loops."""
    use_fast(False)
    mine(questions[0])
    found = median(seconds(mine, q, 20) for _ in range(5) for q in questions)
    use_fast()
    return found
