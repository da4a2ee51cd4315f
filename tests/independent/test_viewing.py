"""The plan against another program (pyAgrum influence diagrams) and against all policies listed by hand."""

from collections.abc import Iterator
from itertools import permutations

import numpy as np
import pyagrum as gum
import pytest
from pyagrum import influence_diagram

from driveout.viewing import Check, DecisionProblem, FinalAction, decide
from driveout.viewing.decide import Decision


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
