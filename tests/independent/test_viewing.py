"""The plan against another program (pyAgrum influence diagrams) and against all policies listed by hand."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import permutations
from typing import Any

import numpy as np
import pyagrum as gum
import pytest
from pyagrum import influence_diagram

from driveout.faults import (
    Beta,
    Cause,
    Finding,
    Link,
    Network,
    compile_network,
    infer,
    shipped_network,
    with_silence,
)
from driveout.outlook import Forecast, ceiling_from
from driveout.outlook.actions import case_of
from driveout.outlook.car_case import chances_or_draws
from driveout.store import Store
from driveout.viewing import (
    Check,
    Decision,
    DecisionProblem,
    FaultCheck,
    FaultPlan,
    FaultViewing,
    FinalAction,
    ManyPlan,
    SharedCost,
    actions,
    decide,
    many_checks,
    plan_faults,
    plan_many,
    prepare,
)
from driveout.viewing.from_case import viewing_of
from driveout.viewing.many_checks import knowing_all
from tests.viewing import added


def a_random_problem(
    rng: np.random.Generator, states: int = 4, checks: int = 3, outcomes: int = 2
) -> DecisionProblem:
    names = [f"s{n}" for n in range(states)]
    prior = rng.dirichlet(np.ones(states))
    buy = FinalAction("buy", {name: float(rng.normal(1000.0, 300.0)) for name in names})
    walk = FinalAction("walk", dict.fromkeys(names, 0.0), price_share=0.0, needs_seller=False)
    looks = []
    for number in range(checks):
        rows = rng.dirichlet(np.ones(outcomes), size=states)
        chances = {
            name: {f"o{o}": float(row[o]) for o in range(outcomes)}
            for name, row in zip(names, rows, strict=True)
        }
        looks.append(
            Check(
                f"k{number}",
                tuple(f"o{o}" for o in range(outcomes)),
                chances,
                cost=float(rng.uniform(1.0, 25.0)),
            )
        )
    return DecisionProblem(dict(zip(names, prior.tolist(), strict=True)), (buy, walk), tuple(looks))


def any_order_diagram(problem: DecisionProblem, price: float) -> gum.InfluenceDiagram:
    """Decision k picks one of the checks or none; repeating a check is possible but only costs."""
    states = list(problem.states)
    checks = problem.checks
    outcomes = len(checks[0].outcomes)
    diagram = gum.InfluenceDiagram()
    diagram.addChanceNode(gum.LabelizedVariable("state", "", len(states)))
    diagram.cpt("state")[:] = list(problem.states.values())
    for check in checks:
        diagram.addChanceNode(gum.LabelizedVariable(check.name, "", outcomes))
        diagram.addArc("state", check.name)
        for place, state in enumerate(states):
            diagram.cpt(check.name)[{"state": place}] = [check.chances[state][o] for o in check.outcomes]
    none = len(checks)
    seen: list[str] = []
    for number in range(len(checks)):
        choice, reading, cost = f"d{number}", f"r{number}", f"c{number}"
        diagram.addDecisionNode(gum.LabelizedVariable(choice, "", len(checks) + 1))
        for earlier in seen:
            diagram.addArc(earlier, choice)
        diagram.addChanceNode(gum.LabelizedVariable(reading, "", outcomes + 1))
        for parent in (choice, *(check.name for check in checks)):
            diagram.addArc(parent, reading)
        for picked in range(none + 1):
            for row in np.ndindex(*(outcomes,) * len(checks)):
                point = [0.0] * (outcomes + 1)
                point[outcomes if picked == none else row[picked]] = 1.0
                diagram.cpt(reading)[
                    {choice: picked, **{c.name: o for c, o in zip(checks, row, strict=True)}}
                ] = point
        diagram.addUtilityNode(gum.LabelizedVariable(cost, "", 1))
        diagram.addArc(choice, cost)
        for picked in range(none + 1):
            diagram.utility(cost)[{choice: picked}] = [
                0.0 if picked == none else -problem.cost_of(checks[picked])
            ]
        seen += [choice, reading]
    diagram.addDecisionNode(gum.LabelizedVariable("final", "", len(problem.actions)))
    for earlier in seen:
        diagram.addArc(earlier, "final")
    diagram.addUtilityNode(gum.LabelizedVariable("profit", "", 1))
    diagram.addArc("final", "profit")
    diagram.addArc("state", "profit")
    for number, action in enumerate(problem.actions):
        for place, state in enumerate(states):
            diagram.utility("profit")[{"final": number, "state": place}] = [
                action.worth[state] - action.price_share * price
            ]
    return diagram


def diagram_value(problem: DecisionProblem, price: float) -> float:
    engine = influence_diagram.ShaferShenoyLIMIDInference(any_order_diagram(problem, price))
    engine.makeInference()
    return float(engine.MEU()["mean"])


@pytest.mark.parametrize(
    ("checks", "outcomes", "seed"),
    [(1, 2, 1), (1, 4, 2), (2, 2, 3), (2, 3, 4), (2, 2, 5), (3, 2, 6), (3, 2, 7)],
)
def test_the_plan_is_worth_what_an_influence_diagram_says(checks: int, outcomes: int, seed: int) -> None:
    problem = a_random_problem(np.random.default_rng(seed), checks=checks, outcomes=outcomes)
    decision = decide(problem)

    for price in (850.0, 980.0, 1060.0):
        assert decision.value(price) == pytest.approx(diagram_value(problem, price), abs=1e-9)


def plain_value(problem: DecisionProblem, price: float) -> float:
    """Best over everything, by plain recursion over conditional chances at one price."""
    payoffs = np.array(
        [[a.worth[s] - a.price_share * price for s in problem.states] for a in problem.actions], dtype=float
    )

    def best(belief: np.ndarray, done: frozenset[str], found: dict[str, str]) -> float:
        top = float(np.max(payoffs @ belief))
        for check in problem.checks:
            if check.name in done or any(
                e not in done or (o and found[e] != o) for e, o in check.after.items()
            ):
                continue
            if any(check.name in group and done & group for group in problem.one_of):
                continue
            minutes = sum(c.minutes for c in problem.checks if c.name in done) + check.minutes
            if minutes > problem.minutes_available:
                continue
            going_on = 0.0
            for outcome in check.outcomes:
                joint = belief * [check.chances[s].get(outcome, 0.0) for s in problem.states]
                if joint.sum() > 0.0:
                    after = best(joint / joint.sum(), done | {check.name}, {**found, check.name: outcome})
                    going_on += joint.sum() * after
            left = max(
                float(p @ belief) for p, a in zip(payoffs, problem.actions, strict=True) if not a.needs_seller
            )
            paid = check.cost + problem.wage_per_hour * check.minutes / 60.0
            top = max(top, check.lose_deal * left + (1.0 - check.lose_deal) * going_on - paid)
        return top

    return best(np.array(list(problem.states.values())), frozenset(), {})


def with_rules(problem: DecisionProblem, rng: np.random.Generator) -> DecisionProblem:
    """The same problem with minutes, a wage, patience, a condition and an exclusive pair."""
    checks = [
        Check(
            c.name, c.outcomes, c.chances, cost=c.cost / 4, minutes=float(rng.integers(2, 20)),
            lose_deal=float(rng.uniform(0.0, 0.05)),
        )
        for c in problem.checks
    ]  # fmt: skip
    second = checks[1]
    checks[1] = Check(
        second.name, second.outcomes, second.chances, second.cost, second.minutes, second.lose_deal,
        after={checks[0].name: checks[0].outcomes[0]},
    )  # fmt: skip
    return DecisionProblem(
        problem.states, problem.actions, tuple(checks), one_of=(frozenset({"k2", "k3"}),), wage_per_hour=18.0,
        minutes_available=35.0,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
def test_rules_about_order_time_and_patience_give_what_plain_recursion_gives(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    problem = with_rules(a_random_problem(rng, checks=4, outcomes=2 + seed % 2), rng)
    decision = decide(problem)

    for price in (800.0, 950.0, 1000.0, 1100.0):
        assert decision.value(price) == pytest.approx(plain_value(problem, price), abs=1e-9)


def every_policy(
    problem: DecisionProblem, price: float, belief: np.ndarray, left: tuple[Check, ...]
) -> Iterator[float]:
    """Value of every policy there is, one by one: each final action, or each check with
    every combination of policies after its outcomes."""
    for action in problem.actions:
        payoff = np.array([action.worth[s] - action.price_share * price for s in problem.states])
        yield float(payoff @ belief)
    for check in left:
        rest = tuple(c for c in left if c is not check)
        branches = [
            list(every_policy(problem, price, belief * [check.chances[s][o] for s in problem.states], rest))
            for o in check.outcomes
        ]
        for first in branches[0]:
            for second in branches[1]:
                yield first + second - check.cost * float(belief.sum())


@pytest.mark.parametrize("seed", range(4))
def test_no_policy_that_can_be_written_down_beats_the_plan(seed: int) -> None:
    problem = a_random_problem(np.random.default_rng(200 + seed), states=3, checks=2)
    price = 1000.0
    values = list(every_policy(problem, price, np.array(list(problem.states.values())), problem.checks))

    assert len(values) == 2 + 2 * 6 * 6
    assert decide(problem).value(price) == pytest.approx(max(values), abs=1e-9)


def test_the_profit_law_agrees_with_following_the_plan_many_times() -> None:
    rng = np.random.default_rng(5)
    problem = a_random_problem(rng, checks=3)
    decision = decide(problem)
    price, runs = 960.0, 20_000
    profits = np.array([one_viewing(decision, price, rng) for _ in range(runs)])
    law = decision.profit_law(price)

    assert abs(profits.mean() - law.mean) < 3.5 * law.sd / np.sqrt(runs)
    assert abs((profits < 0.0).mean() - law.chance_of_loss) < 3.5 * 0.5 / np.sqrt(runs)
    assert law.mean == pytest.approx(decision.value(price), abs=1e-9)


def one_viewing(decision: Decision, price: float, rng: np.random.Generator) -> float:
    problem, policy = decision.problem, decision.policy
    names = list(problem.states)
    state = names[rng.choice(len(names), p=list(problem.states.values()))]
    position, spent = policy.start, 0.0
    while True:
        step = policy.advice(position, price)
        ends = {action.name: action for action in problem.actions}
        if step in ends:
            return ends[step].worth[state] - ends[step].price_share * price - spent
        check = problem.checks[problem.check_number(step)]
        spent += problem.cost_of(check)
        outcome = check.outcomes[
            rng.choice(len(check.outcomes), p=[check.chances[state][o] for o in check.outcomes])
        ]
        position = policy.after(position, step, outcome)


def test_the_worth_of_a_check_does_not_depend_on_where_it_is_listed() -> None:
    problem = a_random_problem(np.random.default_rng(9), checks=3, outcomes=3)
    expected = {worth.name: worth.gross for worth in decide(problem).worth_alone(1000.0)}

    for order in permutations(problem.checks):
        again = DecisionProblem(problem.states, problem.actions, order)
        assert {w.name: w.gross for w in decide(again).worth_alone(1000.0)} == pytest.approx(
            expected, abs=1e-12
        )
        assert decide(again).value(1000.0) == pytest.approx(decide(problem).value(1000.0), abs=1e-10)


# Plans over faults ------------------------------------------------------------------------


def a_fault_viewing(rng: np.random.Generator, causes: int, checks: int, **more: Any) -> FaultViewing:
    """A small random network: the last finding is a symptom that was named."""
    findings = []
    for number in range(checks + 1):
        linked = [f"c{i}" for i in range(causes) if rng.random() < 0.6] or ["c0"]
        outcomes = ("no", "yes") if number % 3 else ("no", "some", "much")
        rows = {c: rng.dirichlet(np.ones(len(outcomes)))[1:] for c in linked}
        alarm = rng.dirichlet(np.ones(len(outcomes)))[1:] * 0.3
        findings.append(
            Finding(
                f"f{number}", f"f{number}",
                tuple(Link(c, tuple(Beta.of(float(p)) for p in row)) for c, row in rows.items()),
                tuple(Beta.of(float(p)) for p in alarm), outcomes,
            )
        )  # fmt: skip
    network = Network(
        tuple(Cause(f"c{i}", f"c{i}", Beta.of(float(rng.uniform(0.05, 0.5)))) for i in range(causes)),
        tuple(findings),
    )
    return FaultViewing(
        compiled=compile_network(network),
        evidence={f"f{checks}": findings[-1].outcomes[-1]},
        checks=tuple(
            FaultCheck(f"k{n}", (f"f{n}",), cost=float(rng.uniform(0.5, 8.0))) for n in range(checks)
        ),
        resale=1500.0,
        costs={f"c{i}": float(rng.uniform(100.0, 900.0)) for i in range(causes)},
        **more,
    )


def outcome_chances(finding: Finding, present: frozenset[str]) -> list[float]:
    """Noisy-MAX written out: the chance that nothing brings more than outcome x, outcome by outcome."""
    below = []
    for x in range(len(finding.outcomes) - 1):
        chance = 1.0 - sum(beta.mean for beta in finding.false_alarm[x:])
        for link in finding.links:
            if link.cause in present:
                chance *= 1.0 - sum(beta.mean for beta in link.given[x:])
        below.append(chance)
    return [float(chance) for chance in np.diff([0.0, *below, 1.0])]


def written_out(viewing: FaultViewing) -> DecisionProblem:
    """The same viewing with every set of faults as a state, conditioned on the evidence by hand."""
    network = viewing.compiled.network
    states: dict[str, float] = {}
    worth: dict[str, float] = {}
    sets: dict[str, frozenset[str]] = {}
    for flags in np.ndindex(*(2,) * len(network.causes)):
        present = frozenset(c.id for c, flag in zip(network.causes, flags, strict=True) if flag)
        name = "+".join(sorted(present)) or "sound"
        chance = 1.0
        for cause, flag in zip(network.causes, flags, strict=True):
            chance *= cause.prior.mean if flag else 1.0 - cause.prior.mean
        for known, outcome in viewing.evidence.items():
            entry = network.finding[known]
            chance *= outcome_chances(entry, present)[entry.outcomes.index(outcome)]
        states[name], sets[name] = chance, present
        worth[name] = viewing.resale - sum(viewing.costs[c] for c in present)
        worth[name] -= sum(group.cost for group in viewing.shared if group.faults & present)
    total = sum(states.values())
    checks = []
    for check in viewing.checks:
        finding = network.finding[check.findings[0]]
        chances = {
            name: dict(zip(finding.outcomes, outcome_chances(finding, present), strict=True))
            for name, present in sets.items()
        }
        checks.append(
            Check(
                check.id, finding.outcomes, chances, check.cost, check.minutes, check.lose_deal, check.after
            )
        )
    walk = FinalAction("walk", dict.fromkeys(states, 0.0), price_share=0.0, needs_seller=False)
    return DecisionProblem(
        {name: chance / total for name, chance in states.items()},
        (FinalAction("buy", worth), walk),
        tuple(checks),
        one_of=viewing.one_of,
        wage_per_hour=viewing.wage_per_hour,
        minutes_available=viewing.minutes_available,
    )


@pytest.mark.parametrize("compiled_kernel", [True, False])
@pytest.mark.parametrize("seed", range(5))
def test_the_plan_over_faults_equals_the_plan_over_all_sets_of_faults(
    seed: int, compiled_kernel: bool
) -> None:
    rng = np.random.default_rng(300 + seed)
    viewing = a_fault_viewing(
        rng, causes=5, checks=4, shared=(SharedCost(frozenset({"c0", "c1"}), 120.0),), wage_per_hour=12.0,
        minutes_available=40.0, one_of=(frozenset({"k2", "k3"}),),
    )  # fmt: skip
    checks = [
        replace(c, minutes=float(rng.integers(3, 20)), lose_deal=0.01 * n)
        for n, c in enumerate(viewing.checks)
    ]
    checks[1] = replace(checks[1], after={"k0": "no"})
    viewing = replace(viewing, checks=tuple(checks))
    plan = FaultPlan(prepare(viewing), compiled_kernel)
    decision = decide(written_out(viewing))
    worths = {worth.name: worth for worth in decision.worth_alone(900.0)}

    assert plan.ceiling == pytest.approx(decision.ceiling, abs=1e-6)
    assert plan.ceiling_without_checks == pytest.approx(decision.ceiling_without_checks, abs=1e-9)
    for price in np.linspace(300.0, 1300.0, 11):
        assert plan.value(price) == pytest.approx(decision.value(price), abs=1e-9)
    for worth in plan.worth_alone(900.0):
        assert worth.gross == pytest.approx(worths[worth.name].gross, abs=1e-9)
        assert worth.cost == pytest.approx(worths[worth.name].cost, abs=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_the_table_over_faults_gives_the_advice_of_the_plan_over_all_sets(seed: int) -> None:
    viewing = a_fault_viewing(np.random.default_rng(400 + seed), causes=4, checks=4)
    prices = np.linspace(0.0, 1500.0, 301)
    policy = plan_faults(viewing).policy(prices, seller_may_ask_more=True)
    decision = decide(written_out(viewing))
    wide = decision.policy

    assert len(policy.nodes) > 5
    for position, node in policy.nodes.items():
        exact = wide.nodes[position].ceiling
        # Between two prices of the grid the ceiling is found from below, never too high.
        assert (node.ceiling is None) == (exact is None or exact < prices[1])
        assert node.ceiling is None or exact is None or exact - 5.0 <= node.ceiling <= exact + 1e-6
        for price in prices:
            step = policy.advice(position, price)
            if step != wide.advice(position, price):  # then the two must be worth the same
                found = what_was_found(viewing, position)
                best = decide(decision.problem, found).value(price)
                assert step not in policy.actions
                assert value_of_doing(decision.problem, found, step, price) == pytest.approx(best, abs=1e-8)


def what_was_found(viewing: FaultViewing, position: str) -> dict[str, str]:
    return {
        check.id: viewing.outcomes(check)[int(sign)]
        for check, sign in zip(viewing.checks, position, strict=True)
        if sign != "."
    }


def value_of_doing(problem: DecisionProblem, found: dict[str, str], name: str, price: float) -> float:
    """One check now and the best plan after it."""
    check = problem.checks[problem.check_number(name)]
    belief = {
        state: chance
        * float(
            np.prod([problem.checks[problem.check_number(c)].chances[state][o] for c, o in found.items()])
        )
        for state, chance in problem.states.items()
    }
    total = sum(belief.values())
    value = -problem.cost_of(check)
    for outcome in check.outcomes:
        share = sum(b * check.chances[state][outcome] for state, b in belief.items()) / total
        value += share * decide(problem, {**found, name: outcome}).value(price)
    return float(value)


def test_the_smaller_table_agrees_wherever_the_price_only_falls() -> None:
    viewing = a_fault_viewing(np.random.default_rng(410), causes=5, checks=5)
    prices = np.linspace(0.0, 1500.0, 61)
    plan = plan_faults(viewing)
    wide, small = plan.policy(prices, seller_may_ask_more=True), plan.policy(prices)

    assert len(small.nodes) <= len(wide.nodes)
    for start in prices:
        for later in prices[prices <= start][::7]:
            position = small.start
            while (step := small.advice(position, start)) not in small.actions:
                assert step == wide.advice(position, start)
                position = next(
                    child
                    for outcome in small.outcomes[small.checks.index(step)]
                    if (child := small.after(position, step, outcome)) in small.nodes
                )
                assert small.advice(position, later) == wide.advice(position, later)
                assert small.nodes[position].ceiling == pytest.approx(wide.nodes[position].ceiling, abs=1e-9)


@pytest.mark.parametrize("seed", range(2))
def test_the_plan_over_faults_is_worth_what_an_influence_diagram_says(seed: int) -> None:
    viewing = a_fault_viewing(np.random.default_rng(500 + seed), causes=4, checks=3)
    viewing = replace(viewing, checks=tuple(c for c in viewing.checks if len(viewing.outcomes(c)) == 2))
    plan = plan_faults(viewing)

    for price in (700.0, 1000.0):
        assert plan.value(price) == pytest.approx(diagram_value(written_out(viewing), price), abs=1e-9)


def test_many_positive_findings_give_the_same_plan_by_the_recursion() -> None:
    viewing = a_fault_viewing(np.random.default_rng(600), causes=5, checks=4)
    signed = plan_faults(viewing)
    prepared = prepare(viewing)
    unsigned = FaultPlan(replace(prepared, signed=False))

    for price in (500.0, 900.0):
        assert unsigned.value(price) == pytest.approx(signed.value(price), abs=1e-9)
    assert unsigned.ceiling_without_checks == pytest.approx(signed.ceiling_without_checks, abs=1e-9)


def test_a_rule_about_serious_faults_forbids_buying_where_they_are_too_likely() -> None:
    viewing = a_fault_viewing(np.random.default_rng(700), causes=4, checks=3)
    strict = replace(viewing, serious=frozenset({"c0"}), most_serious_chance=0.05)
    plan, policy = plan_faults(strict), plan_faults(strict).policy(np.linspace(0.0, 1500.0, 31))
    written = written_out(viewing)

    assert plan.value(400.0) < plan_faults(viewing).value(400.0)
    for position, node in policy.nodes.items():
        found = what_was_found(viewing, position)
        belief = {s: chance * np.prod([written.checks[written.check_number(c)].chances[s][o] for c, o in found.items()]) for s, chance in written.states.items()}  # fmt: skip
        serious = sum(b for s, b in belief.items() if "c0" in s) / sum(belief.values())
        if serious > 0.05 + 1e-9:
            assert all(policy.step_name(step) != "buy" for _, step in node.steps)


def test_with_many_checks_the_stated_bounds_hold_the_exact_value_between_them() -> None:
    viewing = a_fault_viewing(np.random.default_rng(800), causes=6, checks=9)
    exact = plan_faults(viewing)
    price = exact.ceiling_without_checks
    for kept in (3, 5):
        found = with_limits(viewing, price, kept)
        assert found.value <= exact.value(price) + 1e-9
        assert found.most_value >= exact.value(price) - 1e-9
        assert len(found.left_out) >= 9 - kept
    assert plan_many(viewing, price).gap == 0.0


def with_limits(viewing: FaultViewing, price: float, kept: int) -> ManyPlan:
    """Plan as if only a few checks could be planned exactly."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(many_checks, "ROLLOUT_CHECKS", 3)
        return plan_many(viewing, price, kept)


def test_knowing_every_fault_is_worth_what_listing_the_sets_gives() -> None:
    viewing = a_fault_viewing(np.random.default_rng(900), causes=5, checks=2)
    written = written_out(viewing)
    for price in (600.0, 1000.0):
        listed = sum(c * max(0.0, written.actions[0].worth[s] - price) for s, c in written.states.items())
        assert listed <= knowing_all(viewing, price) <= listed + 5.0


@pytest.mark.parametrize("compiled_kernel", [True, False])
def test_a_check_that_shows_two_findings_is_planned_as_one(compiled_kernel: bool) -> None:
    viewing = a_fault_viewing(np.random.default_rng(950), causes=4, checks=4)
    checks = viewing.checks
    joined = replace(checks[1], findings=("f1", "f2"))
    viewing = replace(viewing, checks=(checks[0], joined, checks[3]))
    written = written_out(replace(viewing, checks=checks))
    one, two = written.checks[1], written.checks[2]
    both = Check(
        "k1", tuple(f"{a}, {b}" for a in one.outcomes for b in two.outcomes),
        {s: {f"{a}, {b}": one.chances[s][a] * two.chances[s][b] for a in one.outcomes for b in two.outcomes} for s in written.states},
        cost=one.cost,
    )  # fmt: skip
    decision = decide(replace(written, checks=(written.checks[0], both, written.checks[3])))
    plan = FaultPlan(prepare(viewing), compiled_kernel)

    assert viewing.outcomes(joined) == both.outcomes
    assert viewing.shown(joined, "no, yes") == {"f1": "no", "f2": "yes"}
    for price in (500.0, 800.0, 1000.0):
        assert plan.value(price) == pytest.approx(decision.value(price), abs=1e-9)


def test_the_sums_over_the_shipped_pack_equal_one_inference_per_position() -> None:
    network = shipped_network("sick", car={"mileage_km": 165_000.0, "gearbox": "manual", "drive": "fwd"})
    checks = ("d_clutch_hold", "b_cool_pressure", "b_gas_in_coolant", "u_rust_probe")
    evidence = with_silence(network, {"say_clutch": "yes"})
    costs = {fault: 100.0 + 10.0 * n for n, fault in enumerate(infer(network, evidence).faults)}
    viewing = FaultViewing(
        compile_network(network),
        evidence,
        tuple(FaultCheck(c, (c,), cost=3.0) for c in checks),
        4000.0,
        costs,
    )
    plan = plan_faults(viewing)
    whole = infer(network, evidence).evidence_probability
    for found in ({"d_clutch_hold": "yes"}, {"b_cool_pressure": "yes", "u_rust_probe": "flakes"}):
        after = infer(network, {**evidence, **found})
        worth = 4000.0 - sum(costs[fault] * chance for fault, chance in after.faults.items())
        alone = plan_faults(replace(viewing, evidence={**evidence, **found}, checks=viewing.checks[2:3]))

        assert alone.ceiling_without_checks == pytest.approx(worth, abs=1e-6)
        assert alone.chance_of_evidence == pytest.approx(after.evidence_probability, rel=1e-9)
    assert plan.chance_of_evidence == pytest.approx(whole, rel=1e-9)


@pytest.mark.parametrize("chosen", [("wage",), ("wage", "loss")])
def test_what_the_sheet_says_after_answers_agrees_with_the_outlook_made_anew(
    store: Store, chosen: tuple[str, ...]
) -> None:
    """The plan's drawn fault sets against the outlook's exact distribution with the answers as evidence."""
    car = added(store)
    with store.reading() as tx:
        checks = actions.plan_of(tx, car, kept=5).plan.plan.viewing.checks
        present = case_of(tx, car)
    case = replace(present.case, rules=replace(present.case.rules, chosen=chosen))
    viewing = viewing_of(case, present.posterior, checks, points=1024)
    plan = plan_faults(viewing)
    policy = plan.policy(np.linspace(5_000.0, 90_000.0, 18), seller_may_ask_more=True)
    now = ceiling_from(Forecast(case, 1024)).price
    looked = 0

    assert plan.ceiling_without_checks == pytest.approx(now, abs=0.01)
    for position, node in policy.nodes.items():
        done = [(c, sign) for c, sign in zip(viewing.checks, position, strict=True) if sign != "."]
        evidence = dict(viewing.evidence)
        for check, sign in done:
            evidence |= viewing.shown(check, viewing.outcomes(check)[int(sign)])
        posterior = infer(viewing.compiled, evidence)
        if len(done) > 2 or posterior.evidence_probability < 0.05 * plan.chance_of_evidence:
            continue
        looked += 1
        again = Forecast(replace(case, chances=chances_or_draws(posterior)), 1024)
        by_mean = again.charged.mean / again.price_factor
        assert node.stop is not None
        # 8192 draws, and a normal shape for the margin of each set of faults: about one in a hundred
        # of the car's value, and four in a hundred of the chance of a loss.
        assert node.stop <= by_mean + 5_000.0
        if "loss" in chosen:
            lost = again.cash.share_below(viewing.price_factor * node.stop - 1.0)
            assert lost <= case.rules.loss_chance + 0.04
        else:
            assert node.stop >= by_mean - 5_000.0
    assert looked >= 8
