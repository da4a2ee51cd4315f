"""Expected counts of finished cars against enumeration of every hidden showing, and against a simulated truth."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from driveout.faults import SILENT, Beta, Cause, Finding, Link, Network
from driveout.faults.learning import tally


def of(mean: float, weight: float = 5.0) -> Beta:
    return Beta.of(mean, weight)


NETWORK = Network(
    (Cause("a", "", of(0.3)), Cause("b", "", of(0.2)), Cause("c", "", of(0.4))),
    (
        Finding("x", "", (Link("a", (of(0.7),)), Link("b", (of(0.5),))), (of(0.1),)),
        Finding("y", "", (Link("b", (of(0.6),)), Link("c", (of(0.4),))), (of(0.05),)),
        Finding(
            "s",
            "",
            (Link("a", (of(0.8),)), Link("c", (of(0.3),))),
            (of(0.02),),
            kind="advert",
            mention=of(0.5),
        ),
    ),
    common=0.0,
)


def enumerated(evidence: dict[str, str]) -> tuple[dict, dict]:
    """Expected showings of links and of false alarms, by summing over all hidden events."""
    names = [c.id for c in NETWORK.causes]
    links = [(f, source) for f in NETWORK.findings for source in [*(k.cause for k in f.links), "alarm"]]
    shown: dict = {}
    here: dict = {}
    total = 0.0
    for states in product((0, 1), repeat=3):
        p = 1.0
        for cause, state in zip(NETWORK.causes, states, strict=True):
            p *= cause.prior.mean if state else 1 - cause.prior.mean
        on = dict(zip(names, states, strict=True)) | {"alarm": 1}
        for acts in product((0, 1), repeat=len(links)):
            for told in product(*((0, 1) if f.kind == "advert" else (1,) for f, _ in links)):
                w = p
                for (f, source), act, tell in zip(links, acts, told, strict=True):
                    q = next((k.given[0].mean for k in f.links if k.cause == source), f.false_alarm[0].mean)
                    q *= on[source]
                    w *= q if act else 1 - q
                    mu = f.mention.mean if f.kind == "advert" else 1.0
                    w *= mu if tell else 1 - mu
                    if w == 0:
                        break
                if w == 0:
                    continue
                for f in NETWORK.findings:
                    if f.id not in evidence:
                        continue
                    said = any(
                        act and tell for (g, _), act, tell in zip(links, acts, told, strict=True) if g is f
                    )
                    if said != (evidence[f.id] == "yes"):
                        w = 0.0
                if w == 0:
                    continue
                total += w
                for (f, source), act in zip(links, acts, strict=True):
                    shown[f.id, source] = shown.get((f.id, source), 0.0) + w * act
                    here[f.id, source] = here.get((f.id, source), 0.0) + w * on[source]
    return {k: v / total for k, v in shown.items()}, {k: v / total for k, v in here.items()}


@pytest.mark.parametrize(
    "evidence",
    [
        {"x": "yes", "y": "no", "s": SILENT},
        {"x": "yes", "y": "yes", "s": "yes"},
        {"x": "no", "y": "yes", "s": SILENT},
    ],
)
def test_expected_counts_equal_enumeration_of_every_hidden_showing(evidence: dict[str, str]) -> None:
    shown, here = enumerated(evidence)

    counts = tally(NETWORK, evidence)

    for (finding, fault), (own, against) in counts.shows.items():
        assert own == pytest.approx(shown[finding, fault], abs=1e-12)
        assert own + against == pytest.approx(here[finding, fault], abs=1e-12)
    for finding, (own, against) in counts.alarms.items():
        assert own == pytest.approx(shown[finding, "alarm"], abs=1e-12)
        assert own + against == pytest.approx(1)


def test_cars_whose_faults_were_proved_teach_the_true_chances() -> None:
    """4000 simulated cars, faults proved after the sale: each learned mean within 4 standard errors."""
    rng = np.random.default_rng(11)
    true_prior, true_seen, true_alarm = {"a": 0.25, "b": 0.1}, {"a": 0.8, "b": 0.35}, 0.06
    guess = Network(
        (Cause("a", "", of(0.5, 1)), Cause("b", "", of(0.5, 1))),
        (Finding("x", "", (Link("a", (of(0.5, 1),)), Link("b", (of(0.5, 1),))), (of(0.3, 1),)),),
        common=0.0,
    )
    cars = []
    for _ in range(4000):
        on = {c: rng.random() < p for c, p in true_prior.items()}
        quiet = (1 - true_alarm) * np.prod([1 - true_seen[c] * on[c] for c in on])
        cars.append(
            {c: "present" if there else "absent" for c, there in on.items()}
            | {"x": "yes" if rng.random() > quiet else "no"}
        )
    patterns = {tuple(sorted(car.items())): 0 for car in cars}
    for car in cars:
        patterns[tuple(sorted(car.items()))] += 1
    network = guess
    for _ in range(60):  # a few passes: the counts lean on the beliefs that they improve
        sums: dict = {}
        for pattern, times in patterns.items():
            one = tally(network, dict(pattern))
            rows = [(("prior", f), p) for f, p in one.priors.items()] + list(one.shows.items())
            for key, pair in [*rows, *((("alarm", f), p) for f, p in one.alarms.items())]:
                old = sums.get(key, (0.0, 0.0))
                sums[key] = (old[0] + times * pair[0], old[1] + times * pair[1])
        network = Network(
            tuple(Cause(c, "", Beta(*sums["prior", c])) for c in "ab"),
            (
                Finding(
                    "x",
                    "",
                    tuple(Link(c, (Beta(*sums["x", c]),)) for c in "ab"),
                    (Beta(*sums["alarm", "x"]),),
                ),
            ),
            common=0.0,
        )

    n = len(cars)
    for c in "ab":
        se = np.sqrt(true_prior[c] * (1 - true_prior[c]) / n)
        assert abs(network.cause[c].prior.mean - true_prior[c]) < 4 * se
    finding = network.findings[0]
    for link in finding.links:
        q = true_seen[link.cause]
        assert abs(link.given[0].mean - q) < 4 * np.sqrt(q * (1 - q) / (n * true_prior[link.cause])) * 1.2
    assert abs(finding.false_alarm[0].mean - true_alarm) < 4 * np.sqrt(
        true_alarm * (1 - true_alarm) / (n * 0.67)
    )
