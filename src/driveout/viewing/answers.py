"""Plans and decisions as plain values, the same for commands and the JSON interface."""

from math import isfinite
from typing import Any

from driveout.viewing.car_plan import CarPlan, policy_for
from driveout.viewing.decide import CheckWorth, Decision
from driveout.viewing.many_checks import plan_many
from driveout.viewing.policy import as_table
from driveout.viewing.viewing_file import ViewingCase

# Decimals of prices in a policy that a program reads.
DECIMALS = 6


def decision_as_data(decision: Decision, price: float) -> dict[str, Any]:
    """Everything that is asked of a decision at one price.

    Parameters
    ----------
    decision
        The decision.
    price
        Price asked. [money]

    Returns
    -------
    dict[str, Any]
        JSON-able; amounts in the money of the problem.
    """
    law = decision.profit_law(price)
    return {
        "name": decision.problem.name,
        "currency": decision.problem.currency,
        "price": price,
        "first_step": decision.first_step(price),
        "value": decision.value(price),
        "value_without_checks": decision.value_without_checks(price),
        "actions": {
            action.name: decision.action_value(action.name, price) for action in decision.problem.actions
        },
        "ceiling": _finite(decision.ceiling),
        "ceiling_without_checks": _finite(decision.ceiling_without_checks),
        "trip_price": _finite(decision.trip_price),
        "perfect_information": decision.perfect_information(price),
        "checks": [_worth(worth) for worth in decision.worth_alone(price)],
        "profit": {
            "mean": law.mean,
            "sd": law.sd,
            "skewness": law.skewness,
            "excess_kurtosis": law.excess_kurtosis,
            "p10": law.quantile(0.1),
            "p50": law.quantile(0.5),
            "p90": law.quantile(0.9),
            "chance_of_loss": law.chance_of_loss,
            "amounts": list(law.amounts),
            "chances": list(law.chances),
        },
        "policy": as_table(decision.policy, DECIMALS),
    }


def plan_as_data(made: CarPlan) -> dict[str, Any]:
    """The plan of a viewing as plain values.

    Parameters
    ----------
    made
        The plan.

    Returns
    -------
    dict[str, Any]
        JSON-able; amounts in minor units except in the policy, which is in whole units.
    """
    return {
        "currency": made.price.currency,
        "money_unit": "minor",
        "price_minor": made.price.minor,
        "next": made.step,
        "why": list(made.why),
        "walk_away_minor": made.ceiling.money.minor,
        "walk_away_with_checks_minor": made.with_checks.minor,
        "gain_minor": made.gain.minor,
        "value_minor": round(made.plan.value),
        "at_most_given_up_minor": made.gap.minor,
        "planned": [check.id for check in made.plan.plan.viewing.checks],
        "left_out": list(made.plan.left_out),
        "checks": [_worth(worth) for worth in made.plan.worths],
        "policy": as_table(policy_for(made)),
    }


def viewing_as_data(case: ViewingCase, price: float) -> dict[str, Any]:
    """Everything that is asked of a viewing of one's own at one price.

    Parameters
    ----------
    case
        The viewing.
    price
        Price asked. [money]

    Returns
    -------
    dict[str, Any]
        JSON-able; amounts in the money of the file.
    """
    many = plan_many(case.viewing, price)
    plan = many.plan
    return {
        "name": case.name,
        "currency": case.currency,
        "price": price,
        "first_step": many.first_step,
        "value": many.value,
        "value_without_checks": plan.value_without_checks(price),
        "ceiling": plan.ceiling,
        "ceiling_without_checks": plan.ceiling_without_checks,
        "most_value": many.most_value,
        "chance_of_evidence": plan.chance_of_evidence,
        "planned": [check.id for check in plan.viewing.checks],
        "left_out": list(many.left_out),
        "checks": [_worth(worth) for worth in many.worths],
        "policy": as_table(plan.policy(case.prices, seller_may_ask_more=True), DECIMALS),
    }


def _worth(worth: CheckWorth) -> dict[str, Any]:
    return {
        "check": worth.name,
        "gross": worth.gross,
        "cost": worth.cost,
        "net": worth.net,
        "allowed": worth.allowed,
        "why_not": worth.why_not,
    }


def _finite(amount: float | None) -> float | None:
    """A price, or None where there is none or no upper end."""
    return amount if amount is not None and isfinite(amount) else None
