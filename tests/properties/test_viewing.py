"""What must hold for every viewing, whatever the numbers."""

from dataclasses import replace
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.viewing import Check, Decision, DecisionProblem, FinalAction, as_table, decide, from_table

seeds = st.integers(0, 10_000)
quick = settings(max_examples=40, deadline=None)


def a_problem(seed: int, checks: int = 3) -> DecisionProblem:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 6))
    names = [f"s{n}" for n in range(count)]
    buy = FinalAction("buy", {name: float(rng.normal(1200.0, 400.0)) for name in names})
    walk = FinalAction("walk", dict.fromkeys(names, 0.0), price_share=0.0, needs_seller=False)
    looks = []
    for number in range(checks):
        outcomes = tuple(f"o{n}" for n in range(int(rng.integers(2, 4))))
        rows = rng.dirichlet(np.ones(len(outcomes)), size=count)
        chances = {
            name: dict(zip(outcomes, map(float, row), strict=True))
            for name, row in zip(names, rows, strict=True)
        }
        looks.append(
            Check(
                f"k{number}", outcomes, chances, cost=float(rng.uniform(0.0, 30.0)),
                minutes=float(rng.integers(1, 30)), lose_deal=float(rng.choice([0.0, 0.03])),
            )
        )  # fmt: skip
    prior = rng.dirichlet(np.ones(count))
    return DecisionProblem(
        dict(zip(names, map(float, prior), strict=True)), (buy, walk), tuple(looks), wage_per_hour=15.0
    )


@quick
@given(seeds)
def test_value_falls_with_the_price_ever_more_slowly(seed: int) -> None:
    decision = decide(a_problem(seed))
    prices = np.linspace(0.0, 2500.0, 101)
    values = np.array([decision.value(price) for price in prices])

    assert np.all(np.diff(values) <= 1e-9)
    assert np.all(np.diff(values, 2) >= -1e-8)


@quick
@given(seeds, st.floats(0.0, 2500.0))
def test_a_check_alone_is_never_worth_less_than_nothing_nor_more_than_knowing_all(
    seed: int, price: float
) -> None:
    decision = decide(a_problem(seed))
    perfect = decision.perfect_information(price)

    for worth in decision.worth_alone(price):
        assert -1e-12 <= worth.gross <= perfect + 1e-9


@quick
@given(seeds, st.floats(0.0, 2500.0))
def test_the_plan_gains_at_least_the_best_single_check_and_at_most_perfect_knowledge(
    seed: int, price: float
) -> None:
    decision = decide(a_problem(seed))
    gain = decision.value(price) - decision.value_without_checks(price)

    assert gain <= decision.perfect_information(price) + 1e-9
    assert gain >= max(0.0, *(worth.net for worth in decision.worth_alone(price))) - 1e-9


@quick
@given(seeds, st.floats(0.0, 2500.0))
def test_one_more_check_on_offer_never_lowers_the_value(seed: int, price: float) -> None:
    problem = a_problem(seed)
    fewer = replace(problem, checks=problem.checks[:-1])

    assert decide(problem).value(price) >= decide(fewer).value(price) - 1e-9


@quick
@given(seeds)
def test_the_ceiling_is_where_the_value_reaches_that_of_walking(seed: int) -> None:
    decision = decide(a_problem(seed))
    ceiling = decision.ceiling

    assert ceiling is not None
    assert ceiling < inf
    assert decision.value(ceiling) == pytest.approx(0.0, abs=1e-7)
    assert decision.ceiling_without_checks is None or ceiling >= decision.ceiling_without_checks - 1e-7


@quick
@given(seeds, st.floats(0.0, 2500.0))
def test_the_law_of_the_profit_has_the_value_of_the_plan_as_its_mean(seed: int, price: float) -> None:
    decision = decide(a_problem(seed))
    law = decision.profit_law(price)

    assert sum(law.chances) == pytest.approx(1.0, abs=1e-12)
    assert law.mean == pytest.approx(decision.value(price), abs=1e-7)
    assert law.quantile(0.0) == law.amounts[0]
    assert law.quantile(1.0) == law.amounts[-1]


@quick
@given(seeds, st.floats(0.0, 2500.0))
def test_a_policy_read_back_from_its_table_gives_the_same_advice(seed: int, price: float) -> None:
    policy = decide(a_problem(seed)).policy
    again = from_table(as_table(policy, decimals=9))

    for position, node in policy.nodes.items():
        near = min((abs(price - start) for start, _ in node.steps), default=1.0)
        if near > 1e-6:
            assert again.advice(position, price) == policy.advice(position, price)


@quick
@given(seeds, st.floats(0.0, 2500.0))
def test_planning_again_after_an_outcome_agrees_with_the_plan_made_before(seed: int, price: float) -> None:
    problem = a_problem(seed)
    decision = decide(problem)
    step = decision.first_step(price)
    if step not in {action.name for action in problem.actions}:
        for outcome in problem.checks[problem.check_number(step)].outcomes:
            again: Decision = decide(problem, {step: outcome})
            position = decision.policy.after(decision.start, step, outcome)

            assert again.first_step(price) == decision.policy.advice(position, price)
