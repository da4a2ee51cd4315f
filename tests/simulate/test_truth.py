"""Nature's draws, held against exact inference in the same network: two routes to the same chances."""

from __future__ import annotations

import math

import numpy as np
import pytest

from driveout.faults import ABSENT, Arc, Beta, Cause, Finding, Link, Network, infer
from driveout.simulate.beliefs import FAULTS, believed_network
from driveout.simulate.truth import Truth, draw_truth
from driveout.simulate.world import World, perturbed

DRAWS = 4000


@pytest.fixture(scope="module")
def drawn() -> list[Truth]:
    rng = np.random.default_rng(5)
    return [draw_truth(believed_network(), rng) for _ in range(DRAWS)]


def close(share: float, chance: float, count: int) -> bool:
    """Whether a share of so many draws is within 4.5 standard errors of its chance."""
    return abs(share - chance) <= 4.5 * math.sqrt(max(chance * (1 - chance), 1e-4) / count)


def test_faults_come_as_often_as_exact_inference_says(drawn: list[Truth]) -> None:
    exact = infer(believed_network(), {}).faults
    for fault in FAULTS:
        share = sum(fault in truth.faults for truth in drawn) / DRAWS

        assert close(share, exact[fault], DRAWS), (fault, share, exact[fault])


def test_faults_given_a_check_come_as_often_as_exact_inference_says(drawn: list[Truth]) -> None:
    for finding in ("b_gas_in_coolant", "d_clutch_hold", "s_misfire"):
        shown = [truth for truth in drawn if truth.shows[finding] == "yes"]
        exact = infer(believed_network(), {finding: "yes"}).faults
        assert len(shown) > 100
        for fault in FAULTS:
            share = sum(fault in truth.faults for truth in shown) / len(shown)

            assert close(share, exact[fault], len(shown)), (finding, fault, share, exact[fault])


def test_adverts_say_things_as_often_as_the_network_expects(drawn: list[Truth]) -> None:
    network = believed_network()
    for finding in network.findings:
        if finding.kind != "advert":
            continue
        said = [truth for truth in drawn if truth.says.get(finding.id) == "yes"]
        if len(said) < 150:
            continue
        exact = infer(network, {finding.id: "yes"}).faults
        for fault in FAULTS:
            share = sum(fault in truth.faults for truth in said) / len(said)

            assert close(share, exact[fault], len(said)), (finding.id, fault, share, exact[fault])


def test_a_graded_reading_shows_the_worst_that_any_fault_brings() -> None:
    bad = Cause("bad", "Bad", Beta(1, 0))
    grade = Finding(
        "grade",
        "Grade",
        (Link("bad", (Beta(0, 1), Beta(1, 0))),),
        (Beta(1, 0), Beta(0, 1)),
        ("fine", "worn", "gone"),
    )

    truth = draw_truth(Network((bad,), (grade,)), np.random.default_rng(1))

    assert truth.shows == {"grade": "gone"}


def test_a_fault_that_always_brings_another_always_does() -> None:
    causes = (Cause("child", "Child", Beta(0, 1)), Cause("parent", "Parent", Beta(1, 0)))
    network = Network(causes, (), arcs=(Arc("parent", "child", Beta(1, 0)),))

    assert draw_truth(network, np.random.default_rng(1)).faults == {"parent", "child"}


def test_what_is_absent_is_no_fault() -> None:
    truth = draw_truth(Network((Cause("a", "A", Beta(0, 1)),), ()), np.random.default_rng(1))

    assert truth.states == {"a": ABSENT}
    assert truth.faults == frozenset()


def test_natures_network_differs_but_keeps_faults_and_findings() -> None:
    believed = believed_network()
    nature = perturbed(believed, World(), np.random.default_rng(3))

    assert [c.id for c in nature.causes] == [c.id for c in believed.causes]
    assert [f.id for f in nature.findings] == [f.id for f in believed.findings]
    moved = [abs(a.prior.mean - b.prior.mean) for a, b in zip(nature.causes, believed.causes, strict=True)]
    assert min(moved) > 0


def test_worse_cars_are_worse_in_every_chance_when_nothing_else_errs() -> None:
    believed = believed_network()
    nature = perturbed(
        believed, World(prior_error=0.0, sign_error=0.0, prior_shift=0.7), np.random.default_rng(3)
    )

    assert all(a.prior.mean > b.prior.mean for a, b in zip(nature.causes, believed.causes, strict=True))
