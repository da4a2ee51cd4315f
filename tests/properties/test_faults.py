"""What must hold for any network: chances are chances, silence is no denial, causes explain each other away."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.errors import CannotSay
from driveout.faults import ABSENT, SILENT, Beta, Cause, Finding, Link, Network, State, infer

chances = st.floats(0.02, 0.95)


@st.composite
def networks(draw: st.DrawFn, graded: bool = True, common: float = 0.3) -> Network:
    causes = tuple(
        Cause(
            f"c{i}",
            "",
            Beta.of(draw(st.floats(0.02, 0.6))),
            tuple(State(f"s{k}", share=draw(st.floats(0.1, 1))) for k in range(draw(st.integers(1, 2)))),
        )
        for i in range(draw(st.integers(2, 4)))
    )
    findings = []
    for j in range(draw(st.integers(2, 5))):
        levels = draw(st.integers(1, 2)) if graded else 1
        links = tuple(
            Link(c.id, tuple(Beta.of(draw(chances) / levels) for _ in range(levels)))
            for c in causes
            if draw(st.booleans())
        )
        spoken = draw(st.booleans())
        findings.append(
            Finding(
                f"f{j}",
                "",
                links,
                tuple(Beta.of(draw(st.floats(0.01, 0.3)) / levels) for _ in range(levels)),
                outcomes=tuple(f"o{x}" for x in range(levels + 1)),
                kind="advert" if spoken else "check",
                mention=Beta.of(draw(st.floats(0.1, 0.9)) if spoken else 0.0),
                group=draw(st.sampled_from(["", "g", "h"])),
            )
        )
    return Network(causes, tuple(findings), common=common)


@st.composite
def questions(draw: st.DrawFn) -> tuple[Network, dict[str, str]]:
    network = draw(networks())
    evidence = {f.id: draw(st.sampled_from(f.labels)) for f in network.findings if draw(st.booleans())}
    return network, evidence


@settings(max_examples=60)
@given(questions())
def test_every_chance_is_between_0_and_1_and_the_states_of_a_cause_add_up_to_1(
    question: tuple[Network, dict[str, str]],
) -> None:
    answer = infer(*question)

    assert 0 < answer.evidence_probability <= 1 + 1e-12
    for states in answer.marginals.values():
        assert all(0 <= p <= 1 + 1e-12 for p in states.values())
        assert sum(states.values()) == pytest.approx(1)


@settings(max_examples=30)
@given(questions())
def test_the_order_of_the_evidence_does_not_matter(question: tuple[Network, dict[str, str]]) -> None:
    network, evidence = question
    turned = dict(reversed(evidence.items()))

    assert infer(network, turned).columns == pytest.approx(infer(network, evidence).columns, abs=1e-12)


@settings(max_examples=40)
@given(networks())
def test_the_outcomes_of_a_finding_exhaust_what_can_happen(network: Network) -> None:
    for finding in network.findings:
        labels = finding.outcomes if finding.kind == "check" else (*finding.outcomes[1:], SILENT)

        total = sum(infer(network, {finding.id: label}).evidence_probability for label in labels)

        assert total == pytest.approx(1)


@settings(max_examples=40)
@given(networks())
def test_silence_of_an_advert_never_counts_like_a_denial(network: Network) -> None:
    for finding in network.findings:
        if finding.kind != "advert":
            continue
        start, silent, denied = (
            infer(network, e).marginals for e in ({}, {finding.id: SILENT}, {finding.id: finding.outcomes[0]})
        )
        for link in finding.links:
            if len(network.cause[link.cause].states) > 1:
                continue  # another state may gain when one loses
            present = [1 - m[link.cause][ABSENT] for m in (denied, silent, start)]
            assert present[0] < present[1] < present[2]


@settings(max_examples=40)
@given(networks(common=0.0))
def test_a_check_that_nobody_would_mention_says_nothing_by_silence(network: Network) -> None:
    for finding in network.findings:
        if finding.kind == "check":
            answer = infer(network, {finding.id: SILENT})

            assert answer.columns == pytest.approx(infer(network, {}).columns, abs=1e-12)


@settings(max_examples=60)
@given(chances, chances, chances, chances, st.floats(0.0, 0.3))
def test_proving_one_cause_of_a_shared_finding_never_raises_the_other(
    p: float, r: float, q: float, s: float, leak: float
) -> None:
    network = Network(
        (Cause("a", "", Beta.of(p)), Cause("b", "", Beta.of(r))),
        (Finding("x", "", (Link("a", (Beta.of(q),)), Link("b", (Beta.of(s),))), (Beta.of(leak),)),),
    )
    before = infer(network, {"x": "yes"}).marginals["a"]["present"]

    after = infer(network, {"x": "yes", "b": "present"}).marginals["a"]["present"]

    assert after <= before + 1e-12
    assert after >= p - 1e-12


@settings(max_examples=40)
@given(networks(graded=False, common=0.0))
def test_adding_a_cause_that_explains_a_positive_finding_never_raises_the_others(network: Network) -> None:
    """Holds for single-state causes that share nothing but that finding."""
    finding = network.findings[0]
    if finding.kind != "check" or not finding.links:
        return
    causes = tuple(Cause(c.id, "", c.prior) for c in network.causes)
    links = tuple(Link(link.cause, link.given) for link in finding.links)
    plain = Finding("x", "", links, finding.false_alarm, finding.outcomes)
    more = Finding("x", "", (*links, Link("new", (Beta.of(0.7),))), finding.false_alarm, finding.outcomes)
    seen = {"x": finding.outcomes[1]}
    before = infer(Network(causes, (plain,)), seen).marginals

    after = infer(Network((*causes, Cause("new", "", Beta.of(0.2))), (more,)), seen).marginals

    for cause in causes:
        assert after[cause.id]["present"] <= before[cause.id]["present"] + 1e-12


@settings(max_examples=40)
@given(st.floats(0.05, 0.5), st.floats(0.3, 0.95), st.floats(0.02, 0.2), st.floats(0.0, 0.3))
def test_a_second_finding_of_the_same_group_adds_but_less_than_an_independent_one(
    prior: float, seen: float, alarm: float, common: float
) -> None:
    def chance(group: str, evidence: dict[str, str]) -> float:
        findings = tuple(
            Finding(name, "", (Link("a", (Beta.of(seen),)),), (Beta.of(alarm),), group=group) for name in "xy"
        )
        network = Network((Cause("a", "", Beta.of(prior)),), findings, common=common)
        return infer(network, evidence).marginals["a"]["present"]

    one = {"x": "yes"}
    both = {"x": "yes", "y": "yes"}
    assert chance("g", one) == pytest.approx(chance("", one))
    assert chance("g", {"x": "no"}) == pytest.approx(chance("", {"x": "no"}))
    assert chance("g", one) <= chance("g", both) + 1e-12
    assert chance("g", both) <= chance("", both) + 1e-12
    assert chance("g", {"x": "no", "y": "no"}) >= chance("", {"x": "no", "y": "no"}) - 1e-12


@settings(max_examples=30)
@given(chances)
def test_impossible_evidence_is_named_not_guessed(seen: float) -> None:
    network = Network(
        (Cause("a", "", Beta.of(0.3)), Cause("b", "", Beta.of(0.2))),
        (
            Finding("x", "", (Link("a", (Beta.of(1.0),)),), (Beta.of(0.0),)),
            Finding("y", "", (Link("a", (Beta.of(1.0),)),), (Beta.of(0.0),)),
            Finding("z", "", (Link("b", (Beta.of(seen),)),), (Beta.of(0.1),)),
        ),
    )

    with pytest.raises(CannotSay, match="x = yes, y = no") as refused:
        infer(network, {"z": "yes", "x": "yes", "y": "no"})

    assert "z" not in refused.value.missing
