"""Small worked examples of the model, each with its hand calculation."""

from __future__ import annotations

import numpy as np
import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.faults import (
    ABSENT,
    SILENT,
    Arc,
    Beta,
    Cause,
    Finding,
    Link,
    Network,
    Odds,
    Root,
    State,
    compile_network,
    engine,
    grid,
    infer,
    use_fast,
)


def of(mean: float) -> Beta:
    return Beta.of(mean)


def test_one_cause_one_check_is_bayes_rule() -> None:
    network = Network((Cause("a", "", of(0.2)),), (Finding("x", "", (Link("a", (of(0.75),)),), (of(0.2),)),))
    seen = 1 - 0.8 * 0.25

    answer = infer(network, {"x": "yes"})

    assert answer.evidence_probability == pytest.approx(0.2 * seen + 0.8 * 0.2)
    assert answer.marginals["a"]["present"] == pytest.approx(0.2 * seen / (0.2 * seen + 0.8 * 0.2))


def test_competing_causes_never_add_up_to_more_than_1() -> None:
    """One symptom, exclusive explanations: the shares times their likelihoods, nothing else.

    Shares .50 bearing, .08 flexplate, .16 chain, .12 exhaust leak, .14 other, of a knock that is there;
    loud at the bellhousing, clean oil, good pressure, no change when a cylinder is cut.
    """
    matrix = {
        "cylinder_cut": (0.75, 0.10, 0.05, 0.10, 0.12),
        "bellhousing": (0.10, 0.85, 0.03, 0.05, 0.05),
        "glitter": (0.65, 0.04, 0.12, 0.03, 0.06),
        "oil_lamp": (0.55, 0.05, 0.12, 0.05, 0.15),
    }
    shares = (0.50, 0.08, 0.16, 0.12, 0.14)
    names = ("bearing", "flexplate", "chain", "leak", "other")
    network = Network(
        (Cause("knock", "", of(1.0), tuple(State(n, share=s) for n, s in zip(names, shares, strict=True))),),
        tuple(
            Finding(
                f, "", tuple(Link("knock", (of(p),), n) for n, p in zip(names, row, strict=True)), (of(0.0),)
            )
            for f, row in matrix.items()
        ),
        common=0.0,
    )
    weight = np.array(shares)
    for f, row in matrix.items():
        weight = weight * (np.array(row) if f == "bellhousing" else 1 - np.array(row))

    found = infer(network, {"cylinder_cut": "no", "bellhousing": "yes", "glitter": "no", "oil_lamp": "no"})

    assert list(found.marginals["knock"].values())[1:] == pytest.approx(weight / weight.sum())
    assert sum(found.faults.values()) == pytest.approx(1)
    assert found.marginals["knock"]["flexplate"] > 0.75
    assert found.marginals["knock"]["bearing"] < 0.05


def test_graded_outcomes_take_the_worst_contribution() -> None:
    """Two sure causes: P(at most low) = product, so P(very low) = 1 - .7 * .6 and so on."""
    network = Network(
        (Cause("a", "", of(1.0)), Cause("b", "", of(1.0))),
        (
            Finding(
                "compression",
                "",
                (Link("a", (of(0.5), of(0.3))), Link("b", (of(0.2), of(0.4)))),
                (of(0.0), of(0.0)),
                outcomes=("even", "low", "very low"),
            ),
        ),
    )

    even, low, very_low = (
        infer(network, {"compression": x}).evidence_probability for x in ("even", "low", "very low")
    )

    assert even == pytest.approx(0.2 * 0.4)
    assert low == pytest.approx(0.7 * 0.6 - 0.2 * 0.4)
    assert very_low == pytest.approx(1 - 0.7 * 0.6)


def test_silence_is_thinned_by_the_chance_of_mention() -> None:
    network = Network(
        (Cause("a", "", of(0.5)),),
        (Finding("x", "", (Link("a", (of(0.6),)),), (of(0.1),), kind="advert", mention=of(0.5)),),
    )
    silent = (1 - 0.05) * (1 - 0.3)

    answer = infer(network, {"x": SILENT})

    assert answer.marginals["a"]["present"] == pytest.approx(silent / (silent + 0.95))
    assert infer(network, {"x": "yes"}).evidence_probability == pytest.approx(1 - 0.5 * (silent + 0.95))
    assert infer(network, {"x": "no"}).marginals["a"]["present"] == pytest.approx(0.4 / 1.4)


def test_a_neglected_car_has_more_faults_and_one_fault_makes_another_likelier() -> None:
    network = Network(
        (
            Cause("a", "", of(0.2), odds=(Odds("care", (1.0, 3.0)),)),
            Cause("b", "", of(0.1), odds=(Odds("care", (1.0, 3.0)),)),
        ),
        (),
        (Root("care", "", ("good", "poor"), (0.6, 0.4)),),
    )
    poor_a, poor_b = 0.6 / 1.4, 0.3 / 1.2

    start, given_a = infer(network, {}), infer(network, {"a": "present"})

    assert start.marginals["a"]["present"] == pytest.approx(0.6 * 0.2 + 0.4 * poor_a)
    both = 0.6 * 0.2 * 0.1 + 0.4 * poor_a * poor_b
    assert given_a.marginals["b"]["present"] == pytest.approx(both / (0.6 * 0.2 + 0.4 * poor_a))
    assert infer(network, {"care": "poor"}).marginals["b"]["present"] == pytest.approx(poor_b)


def test_an_arc_brings_the_child_beyond_its_own_chance() -> None:
    network = Network(
        (Cause("oil", "", of(0.2)), Cause("converter", "", of(0.1))),
        (),
        arcs=(Arc("oil", "converter", of(0.25)),),
    )

    answer = infer(network, {})

    assert answer.marginals["converter"]["present"] == pytest.approx(0.8 * 0.1 + 0.2 * (1 - 0.9 * 0.75))
    assert infer(network, {"oil": "present"}).marginals["converter"]["present"] == pytest.approx(0.325)


def test_leave_one_out_gives_the_log_likelihood_ratio_of_a_lone_finding() -> None:
    network = Network((Cause("a", "", of(0.2)),), (Finding("x", "", (Link("a", (of(0.75),)),), (of(0.2),)),))

    said = infer(network, {"x": "yes"}).speaks()["a"]

    assert said[0].finding == "x"
    assert said[0].log_odds == pytest.approx(np.log(0.8 / 0.2))


def test_a_proof_has_infinite_log_odds() -> None:
    network = Network((Cause("a", "", of(0.2)),), (Finding("x", "", (Link("a", (of(0.75),)),), (of(0.0),)),))

    assert infer(network, {"x": "yes"}).speaks()["a"][0].log_odds == np.inf


def test_contradictory_evidence_names_the_smallest_set() -> None:
    network = Network((Cause("a", "", of(0.0)),), (Finding("x", "", (), (of(0.0),)),))

    with pytest.raises(CannotSay, match="x = yes"):
        infer(network, {"x": "yes", "a": ABSENT})


def test_of_many_findings_the_two_that_contradict_each_other_are_named_in_words() -> None:
    # "x" and "y" come only from "a"; where "a" is ruled out neither can be, and each pair with it is impossible
    sure = (of(1.0),)
    network = Network(
        (Cause("a", "Clutch worn", of(0.5)), Cause("b", "Pump leaks", of(0.5))),
        (
            Finding("x", "It slips", (Link("a", sure),), (of(0.0),)),
            Finding("y", "It loses coolant", (Link("b", (of(0.5),)),), (of(0.1),)),
        ),
    )

    with pytest.raises(CannotSay) as trouble:
        infer(network, {"y": "yes", "x": "no", "b": "present", "a": "present"})
    said = str(trouble.value)
    assert "Clutch worn (a = present)" in said
    assert "It slips (x = no)" in said
    assert "coolant" not in said
    assert trouble.value.missing == "x, a"


def test_a_network_is_prepared_once() -> None:
    network = Network((Cause("a", "", of(0.2)),), ())

    assert compile_network(network) is compile_network(network)


def test_too_many_worlds_are_refused() -> None:
    causes = tuple(Cause(f"c{i}", "", of(0.1)) for i in range(15))
    arcs = tuple(Arc(f"c{i}", "c14", of(0.1)) for i in range(14))

    with pytest.raises(BadEntry, match="Use fewer arcs"):
        infer(Network(causes, (), arcs=arcs), {})


def test_too_many_entangled_positives_are_refused_for_terms_but_not_for_chances() -> None:
    causes = tuple(Cause(f"c{i}", "", of(0.3)) for i in range(18))
    findings = tuple(
        Finding(f"f{i}", "", (Link(f"c{i}", (of(0.5),)), Link(f"c{i + 1}", (of(0.5),))), (of(0.1),))
        for i in range(17)
    )
    network = Network(causes, findings, common=0.0)
    answer = infer(network, {f"f{i}": "yes" for i in range(17)})

    assert 0 < answer.marginals["c3"]["present"] < 1
    with pytest.raises(CannotSay, match="17 positive findings"):
        answer.terms()


def test_a_grid_refuses_what_is_no_open_check() -> None:
    network = Network((Cause("a", "", of(0.2)),), (Finding("x", "", (), (of(0.1),), kind="advert"),))

    with pytest.raises(BadEntry, match="not a check"):
        grid(network, {}, ["x"])
    with pytest.raises(BadEntry, match="not in the network"):
        grid(network, {}, ["y"])


def test_the_engine_says_what_it_is() -> None:
    assert engine() == "numpy"
    assert use_fast() in ("numba", "numpy")
    assert use_fast(False) == "numpy"


@pytest.mark.parametrize(("a", "b"), [(-1, 2), (0, 0), (float("inf"), 1)])
def test_counts_that_are_no_belief_are_refused(a: float, b: float) -> None:
    with pytest.raises(BadEntry, match="not a belief"):
        Beta(a, b)


def test_a_mean_outside_0_to_1_and_no_weight_are_refused() -> None:
    with pytest.raises(BadEntry, match="not a probability"):
        Beta.of(1.2)
    with pytest.raises(BadEntry, match="cannot be worth"):
        Beta.of(0.5, 0)
