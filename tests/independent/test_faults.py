"""The exact posterior against other routes: plain enumeration, pyAgrum and counted draws."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from typing import Any

import numpy as np
import pytest

from driveout.faults import (
    SILENT,
    Arc,
    Beta,
    Cause,
    Finding,
    Link,
    Network,
    Odds,
    Posterior,
    Root,
    State,
    Table,
    grid,
    infer,
    use_fast,
)


@pytest.fixture(autouse=True, params=["numpy", "numba"])
def engine_of_the_sums(request: pytest.FixtureRequest) -> Iterator[None]:
    """Every test of this sheet holds for both ways of summing."""
    assert use_fast(request.param == "numba") == request.param
    yield
    use_fast(False)


def belief(mean: float) -> Beta:
    return Beta.of(float(mean))


def random_network(
    seed: int, *, causes: int = 5, findings: int = 7, graded: bool = True, common: float = 0.3
) -> Network:
    rng = np.random.default_rng(seed)
    care = Root("care", "Care", ("good", "poor"), (0.7, 0.3))
    made = []
    for i in range(causes):
        states = tuple(
            State(f"s{k}", share=float(rng.uniform(0.2, 1)))
            for k in range(int(rng.integers(1, 3)) if graded else 1)
        )
        odds = (Odds("care", (1.0, 2.5)),) if graded and i % 2 else ()
        made.append(Cause(f"c{i}", "", belief(rng.uniform(0.05, 0.4)), states, odds))
    seen = []
    for j in range(findings):
        levels = int(rng.integers(1, 3)) if graded else 1
        links = [
            Link(
                f"c{i}",
                tuple(belief(x) for x in rng.dirichlet(np.ones(levels + 1))[:levels]),
                state.id,
            )
            for i in rng.choice(causes, size=int(rng.integers(1, min(4, causes + 1))), replace=False)
            for state in made[i].states
        ]
        spoken = graded and j % 3 == 0
        seen.append(
            Finding(
                f"f{j}",
                "",
                tuple(links),
                tuple(belief(x) for x in rng.dirichlet(np.r_[10, np.ones(levels)])[1:]),
                outcomes=tuple(f"o{x}" for x in range(levels + 1)),
                kind="advert" if spoken else "check",
                mention=belief(0.4 if spoken else 0.0),
                group=f"g{j % 3}",
                odds=(Odds("care", (1.0, 1.7)),) if graded and j % 2 else (),
            )
        )
    arcs = (Arc("c0", "c1", belief(0.4)), Arc("c1", "c2", belief(0.3), ("s0",))) if graded else ()
    return Network(tuple(made), tuple(seen), (care,) if graded else (), arcs, common=common)


# ---------------------------------------------------------------- enumeration of the whole story


def moved(p: float, factors: float) -> float:
    return p * factors / (1 - p + p * factors)


def stories(network: Network) -> Iterator[tuple[float, tuple[int, ...], dict[str, Any]]]:
    """Every root state, cause state, common miss and common false alarm, with its probability."""
    groups: dict[str, list[Finding]] = {}
    for f in network.findings:
        groups.setdefault(f.group, []).append(f)
    groups = {g: m for g, m in groups.items() if g and len(m) > 1 and network.common > 0}
    for roots in product(*(range(len(r.states)) for r in network.roots)):
        at = {r.id: s for r, s in zip(network.roots, roots, strict=True)}
        p_root = float(np.prod([r.probabilities[s] for r, s in zip(network.roots, roots, strict=True)]))
        alarms = {
            f.id: moved(
                sum(b.mean for b in f.false_alarm), float(np.prod([o.factors[at[o.root]] for o in f.odds]))
            )
            for f in network.findings
        }
        lookalike = {g: network.common * min(alarms[f.id] for f in m) for g, m in groups.items()}
        for states in product(*(range(1 + len(c.states)) for c in network.causes)):
            p_states = p_root
            for cause, state in zip(network.causes, states, strict=True):
                there = moved(cause.prior.mean, float(np.prod([o.factors[at[o.root]] for o in cause.odds])))
                given = [1 - there] + [
                    there * s.share / sum(x.share for x in cause.states) for s in cause.states
                ]
                for arc in network.arcs:
                    parent = [c.id for c in network.causes].index(arc.parent)
                    if arc.child == cause.id and states[parent] > 0:
                        name = network.causes[parent].states[states[parent] - 1].id
                        if not arc.parent_states or name in arc.parent_states:
                            given = [x * (1 - arc.strength.mean) for x in given]
                            given[1] += arc.strength.mean
                p_states *= given[state]
            misses = []
            for i, (cause, state) in enumerate(zip(network.causes, states, strict=True)):
                for g, members in groups.items():
                    shown = [
                        sum(b.mean for b in link.given)
                        for f in members
                        for link in f.links
                        if state and link.cause == cause.id and link.state == cause.states[state - 1].id
                    ]
                    if len(shown) > 1:
                        misses.append(((i, g), network.common * (1 - max(shown))))
            for hidden in product((0, 1), repeat=len(misses)):
                p_hidden = p_states
                for (_, m), h in zip(misses, hidden, strict=True):
                    p_hidden *= m if h else 1 - m
                hide = {key: (m, h) for (key, m), h in zip(misses, hidden, strict=True)}
                for alike in product((0, 1), repeat=len(groups)):
                    p_all = p_hidden
                    for g, a in zip(groups, alike, strict=True):
                        p_all *= lookalike[g] if a else 1 - lookalike[g]
                    world = {
                        "alarms": alarms,
                        "lookalike": lookalike,
                        "hide": hide,
                        "alike": dict(zip(groups, alike, strict=True)),
                    }
                    yield p_all, states, world


def chance(
    network: Network, finding: Finding, label: str, states: tuple[int, ...], world: dict[str, Any]
) -> float:
    """P(label) in one story: every contribution reaches an outcome of its own, the worst shows."""

    def at_most(x: int, mention: float) -> float:
        alarm = [b.mean for b in finding.false_alarm]
        tail = sum(alarm[x:]) / sum(alarm) if sum(alarm) else 0.0
        own = world["lookalike"].get(finding.group, 0.0)
        alone = (1 - tail * world["alarms"][finding.id]) / (1 - tail * own)
        result: float = 1 - mention * (1 - alone)
        if world["alike"].get(finding.group):
            result *= 1 - mention * tail
        for i, (cause, state) in enumerate(zip(network.causes, states, strict=True)):
            for link in finding.links:
                if state and link.cause == cause.id and link.state == cause.states[state - 1].id:
                    miss, hidden = world["hide"].get((i, finding.group), (0.0, 0))
                    shows = 0.0 if hidden else sum(b.mean for b in link.given[x:]) / (1 - miss)
                    result *= 1 - mention * shows
        return result

    mention = finding.mention.mean
    if label == SILENT:
        return at_most(0, mention)
    x = finding.outcomes.index(label)
    if x == 0:
        return at_most(0, 1.0)
    used = mention if finding.kind == "advert" else 1.0
    high = 1.0 if x == len(finding.outcomes) - 1 else at_most(x, used)
    return high - at_most(x - 1, used)


def enumerate_all(network: Network, evidence: dict[str, str]) -> tuple[float, list[np.ndarray]]:
    sums = [np.zeros(1 + len(c.states)) for c in network.causes]
    total = 0.0
    for p, states, world in stories(network):
        for name, label in evidence.items():
            p *= chance(network, network.finding[name], label, states, world)
        total += p
        for row, state in zip(sums, states, strict=True):
            row[state] += p
    return total, [row / total for row in sums]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("common", [0.0, 0.3])
def test_posterior_equals_enumeration_with_states_grades_roots_arcs_and_groups(
    seed: int, common: float
) -> None:
    network = random_network(seed, causes=4, findings=6, common=common)
    rng = np.random.default_rng(100 + seed)
    evidence = {f.id: str(rng.choice(f.labels)) for f in network.findings}
    total, expected = enumerate_all(network, evidence)

    answer = infer(network, evidence)

    assert answer.evidence_probability == pytest.approx(total, rel=1e-12)
    for cause, row in zip(network.causes, expected, strict=True):
        assert list(answer.marginals[cause.id].values()) == pytest.approx(row, abs=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_terms_and_blocks_give_the_same_joint_as_enumeration(seed: int) -> None:
    network = random_network(seed, causes=4, findings=6)
    evidence = {f.id: f.outcomes[-1] for f in network.findings[:4]} | {"f4": network.findings[4].outcomes[0]}
    joint = np.zeros([1 + len(c.states) for c in network.causes])
    for p, states, world in stories(network):
        for name, label in evidence.items():
            p *= chance(network, network.finding[name], label, states, world)
        joint[states] += p
    answer = infer(network, evidence)
    terms = answer.terms()
    letters = "abcd"

    ours = np.einsum("t," + ",".join(f"t{x}" for x in letters) + "->" + letters, terms.weight, *terms.factors)

    assert terms.normaliser == pytest.approx(joint.sum(), rel=1e-12)
    assert ours == pytest.approx(joint, abs=1e-13)
    by_blocks = np.zeros_like(joint)
    for world_ in answer.blocks():
        product_ = np.array(world_.weight)
        order = ""
        for block in world_.blocks:
            mine = "".join(letters[int(c[1:])] for c in block.causes)
            part = np.einsum(
                "t," + ",".join(f"t{x}" for x in mine) + "->" + mine, block.weight, *block.factors
            )
            product_ = np.multiply.outer(product_, part)
            order += mine
        by_blocks += np.einsum(product_, [letters.index(x) for x in order], range(4))
    assert by_blocks == pytest.approx(joint, abs=1e-13)


def test_grid_of_checks_equals_single_answers() -> None:
    network = random_network(3, causes=5, findings=7)
    checks = [f.id for f in network.findings if f.kind == "check"][:3]
    evidence = {f.id: f.outcomes[-1] for f in network.findings if f.id not in checks}

    all_at_once = grid(network, evidence, checks)

    for index in np.ndindex(all_at_once.probability.shape):
        rows: list[dict[str, str]] = [{}]
        for name, j in zip(checks, index, strict=True):
            if j:
                rows = [r | {name: x} for r in rows for x in network.finding[name].outcomes[:j]]
        answers = [infer(network, evidence | row) for row in rows]
        total = sum(a.evidence_probability for a in answers)
        columns = sum(a.evidence_probability * a.columns for a in answers) / total
        assert all_at_once.probability[index] == pytest.approx(total, rel=1e-11)
        assert all_at_once.columns[index] == pytest.approx(columns, abs=1e-11)


# ---------------------------------------------------------------- pyAgrum as oracle


def agrum(network: Network, evidence: dict[str, str]) -> list[float]:
    import pyagrum as gum

    net = gum.BayesNet()
    for cause in network.causes:
        net.add(gum.LabelizedVariable(cause.id, "", 2))
        net.cpt(cause.id).fillWith([1 - cause.prior.mean, cause.prior.mean])
    for finding in network.findings:
        # "Net" semantics: the weight is the finding's chance when this cause alone is there
        net.addNoisyORNet(gum.LabelizedVariable(finding.id, "", 2), finding.false_alarm[0].mean)
        for link in finding.links:
            net.addWeightedArc(link.cause, finding.id, link.given[0].mean)
    engine = gum.LazyPropagation(net)
    engine.setEvidence({k: network.finding[k].outcomes.index(v) for k, v in evidence.items()})
    engine.makeInference()
    return [engine.posterior(cause.id)[1] for cause in network.causes]


@pytest.mark.parametrize("seed", range(8))
def test_noisy_or_networks_agree_with_pyagrum(seed: int) -> None:
    network = random_network(seed, causes=12, findings=16, graded=False, common=0.0)
    rng = np.random.default_rng(seed)
    positive = set(rng.choice(16, size=8, replace=False).tolist())
    evidence = {f"f{j}": "o1" if j in positive else "o0" for j in range(14)}

    answer = infer(network, evidence)

    ours = [1 - answer.marginals[c.id]["absent"] for c in network.causes]
    assert ours == pytest.approx(agrum(network, evidence), abs=1e-12)


def test_compound_and_net_noisy_or_are_told_apart() -> None:
    """Leak .1, weights .5 and .7: net gives 1 - .9 * .5 * .3 = .865; compound would give .8333."""
    import pyagrum as gum

    network = Network(
        (Cause("a", "", belief(0.5)), Cause("b", "", belief(0.5))),
        (Finding("x", "", (Link("a", (belief(0.5),)), Link("b", (belief(0.7),))), (belief(0.1),)),),
    )
    net = gum.BayesNet()
    for name in "ab":
        net.add(gum.LabelizedVariable(name, "", 2))
        net.cpt(name).fillWith([0.5, 0.5])
    for name, add in (("net", net.addNoisyORNet), ("compound", net.addNoisyORCompound)):
        add(gum.LabelizedVariable(name, "", 2), 0.1)
        net.addWeightedArc("a", name, 0.5)
        net.addWeightedArc("b", name, 0.7)
    engine = gum.LazyPropagation(net)
    engine.setEvidence({"a": 1, "b": 1})

    both = infer(network, {"a": "present", "b": "present", "x": "yes"}).evidence_probability / 0.25

    assert both == pytest.approx(engine.posterior("net")[1], abs=1e-12)
    assert both == pytest.approx(0.865, abs=1e-12)
    assert engine.posterior("compound")[1] == pytest.approx(0.8333, abs=5e-5)


# ---------------------------------------------------------------- counted draws


@pytest.mark.parametrize("seed", [1, 2])
def test_sampled_fault_sets_have_the_exact_frequencies_within_3_standard_errors(seed: int) -> None:
    network = random_network(seed, causes=6, findings=8)
    rng = np.random.default_rng(seed)
    evidence = {f.id: str(rng.choice(f.labels)) for f in network.findings}
    answer = infer(network, evidence)
    n = 200_000

    draws = answer.sample(np.random.default_rng(7), n)

    for i, cause in enumerate(network.causes):
        exact = np.array(list(answer.marginals[cause.id].values()))
        counted = np.bincount(draws[:, i], minlength=len(exact)) / n
        assert (np.abs(counted - exact) <= 3 * np.sqrt(exact * (1 - exact) / n) + 1e-12).all()
    terms = answer.terms()
    rest = np.prod([f.sum(axis=1) for f in terms.factors[2:]], axis=0) * terms.weight
    pair = np.einsum("t,ta,tb->ab", rest, terms.factors[0], terms.factors[1]) / terms.normaliser
    counted_pair = np.zeros_like(pair)
    np.add.at(counted_pair, (draws[:, 0], draws[:, 1]), 1 / n)
    assert (np.abs(counted_pair - pair) <= 3 * np.sqrt(np.abs(pair * (1 - pair)) / n) + 1e-9).all()


# ---------------------------------------------------------------- a chain of diseases by tables


def test_asia_network_by_tables() -> None:
    """Lauritzen and Spiegelhalter (1988), probabilities from memory; values as pyAgrum computes."""
    yes = {"absent": 0, "present": 1}
    either_or_bronchitis = {}
    for smoke, tub, lung in product(yes, repeat=3):
        either = tub == "present" or lung == "present"
        b = 0.6 if smoke == "present" else 0.3
        either_or_bronchitis[smoke, tub, lung] = (b, 0.0, 0.0) if not either else (0.0, 1 - b, b)
    network = Network(
        (
            Cause("asia", "", belief(0.01)),
            Cause("smoke", "", belief(0.5)),
            Cause("tub", "", belief(0.0)),
            Cause("lung", "", belief(0.0)),
            Cause("eb", "", belief(0.0), (State("b"), State("e"), State("both"))),
        ),
        (
            Finding(
                "xray",
                "",
                tuple(Link("eb", (belief((0.98 - 0.05) / 0.95),), s) for s in ("e", "both")),
                (belief(0.05),),
            ),
            Finding(
                "dysp",
                "",
                tuple(
                    Link("eb", (belief((p - 0.1) / 0.9),), s)
                    for s, p in (("b", 0.8), ("e", 0.7), ("both", 0.9))
                ),
                (belief(0.1),),
            ),
        ),
        tables=(
            Table("tub", ("asia",), ((("absent",), (0.01,)), (("present",), (0.05,)))),
            Table("lung", ("smoke",), ((("absent",), (0.01,)), (("present",), (0.1,)))),
            Table("eb", ("smoke", "tub", "lung"), tuple(either_or_bronchitis.items())),
        ),
    )
    prior = infer(network, {})
    sick = infer(network, {"asia": "present", "dysp": "yes"})

    def values(answer: Posterior) -> list[float]:
        m = answer.marginals
        return [
            m["tub"]["present"],
            m["lung"]["present"],
            m["eb"]["b"] + m["eb"]["both"],
            m["eb"]["e"] + m["eb"]["both"],
        ]

    assert values(prior) == pytest.approx([0.0104, 0.055, 0.45, 0.064828], abs=5e-7)
    assert infer(network, {"xray": "yes"}).evidence_probability == pytest.approx(0.11029, abs=5e-6)
    assert infer(network, {"dysp": "yes"}).evidence_probability == pytest.approx(0.435971, abs=5e-7)
    assert values(sick)[:3] == pytest.approx([0.087751, 0.099525, 0.811402], abs=5e-7)
    assert values(sick)[3] == pytest.approx(0.1823, abs=5e-5)
