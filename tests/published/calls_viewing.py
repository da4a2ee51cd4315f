"""Builds the published decision problems, so that the sheet `viewing.toml` can ask for their numbers."""

from collections.abc import Mapping
from functools import cache
from itertools import combinations
from typing import Any

import numpy as np

from driveout.viewing import Check, Decision, DecisionProblem, FinalAction, decide

WALK = "walk"


def _walk(states: Mapping[str, float]) -> FinalAction:
    return FinalAction(WALK, dict.fromkeys(states, 0.0), price_share=0.0, needs_seller=False)


# Howard's used car buyer -----------------------------------------------------------------
# Ten subsystems; a peach has one defect, a lemon six, any set equally likely. States are the
# defect sets themselves, so that a test of one subsystem has a certain outcome in each.
SUBSYSTEMS = range(10)
STEERING, FUEL, ELECTRICAL, TRANSMISSION, DIFFERENTIAL = range(5)


@cache
def _defect_sets() -> dict[str, tuple[float, frozenset[int], str]]:
    sets: dict[str, tuple[float, frozenset[int], str]] = {}
    for kind, chance, defects in (("peach", 0.8, 1), ("lemon", 0.2, 6)):
        chosen = [frozenset(row) for row in combinations(SUBSYSTEMS, defects)]
        for defect_set in chosen:
            sets[f"{kind} {sorted(defect_set)}"] = (chance / len(chosen), defect_set, kind)
    return sets


def _defect_check(
    name: str, looked_at: tuple[int, ...], cost: float, after: Mapping[str, str] | None = None
) -> Check:
    outcomes = tuple(str(count) for count in range(len(looked_at) + 1))
    chances = {
        state: {str(len(row[1].intersection(looked_at))): 1.0} for state, row in _defect_sets().items()
    }
    return Check(name, outcomes, chances, cost=cost, after=after or {})


@cache
def howard(guarantee: bool = True, tests: tuple[str, ...] = ("t1", "t2", "t3", "t4")) -> Decision:
    """Price 1000, worth 1100, repairs 40 or 200; the guarantee costs 60 and pays half, or all above 100."""
    sets = _defect_sets()
    repair = {"peach": 40.0, "lemon": 200.0}
    paid_back = {"peach": 20.0, "lemon": 200.0}
    actions = [FinalAction("buy", {state: 1100.0 - repair[row[2]] for state, row in sets.items()})]
    if guarantee:
        worth = {state: 1100.0 - 60.0 - repair[row[2]] + paid_back[row[2]] for state, row in sets.items()}
        actions.append(FinalAction("buy with guarantee", worth))
    states = {state: row[0] for state, row in sets.items()}
    checks = (
        _defect_check("t1", (STEERING,), 9.0),
        _defect_check("t2", (FUEL, ELECTRICAL), 13.0),
        _defect_check("t3", (TRANSMISSION,), 10.0),
        _defect_check("t4", (DIFFERENTIAL,), 4.0, after={"t3": ""}),
    )
    return decide(
        DecisionProblem(
            states=states,
            actions=(*actions, _walk(states)),
            checks=tuple(check for check in checks if check.name in tests),
            one_of=(frozenset(name for name in ("t1", "t2", "t3") if name in tests),),
            asking=1000.0,
        )
    )


def howard_numbers(guarantee: bool, tests: str = "") -> dict[str, Any]:
    """What the sheet asks about Howard's car at its price of 1000."""
    decision = howard(guarantee, tuple(tests.split()))
    law = decision.profit_law(1000.0)
    return {
        "value": decision.value(1000.0),
        "done": {w.name: decision.value_without_checks(1000.0) + w.net for w in decision.worth_alone(1000.0)},
        "buy": decision.action_value("buy", 1000.0),
        "guarantee": decision.action_value("buy with guarantee", 1000.0) if guarantee else None,
        "perfect": decision.perfect_information(1000.0),
        "variance": law.variance,
        "ceiling": decision.ceiling,
        "first": decision.first_step(1000.0),
    }


def howard_position(tests: str, found: Mapping[str, str]) -> dict[str, Any]:
    """Value and advice for Howard's car after some outcomes, costs of earlier tests left out."""
    whole = howard(True, tuple(tests.split()))
    decision = decide(whole.problem, found)
    sets = _defect_sets()
    weights: dict[str, float] = {"peach": 0.0, "lemon": 0.0}
    for state, chance in whole.problem.states.items():
        likely = chance
        for check, outcome in found.items():
            likely *= whole.problem.checks[whole.problem.check_number(check)].chances[state].get(outcome, 0.0)
        weights[sets[state][2]] += likely
    stopped = decision.value_without_checks(1000.0)
    return {
        "chance": sum(weights.values()),
        "peach": weights["peach"] / sum(weights.values()),
        "step": decision.first_step(1000.0),
        "value": decision.value(1000.0),
        "stopped": stopped,
    }


@cache
def _stranger() -> Decision:
    states = {"peach": 0.8, "lemon": 0.2}
    tells = Check("stranger", ("peach", "lemon"), {state: {state: 1.0} for state in states}, cost=25.0)
    actions = (
        FinalAction("buy", {"peach": 1060.0, "lemon": 900.0}),
        FinalAction("buy with guarantee", {"peach": 1020.0, "lemon": 1040.0}),
        _walk(states),
    )
    return decide(DecisionProblem(states, actions, (tells,), asking=1000.0))


def stranger_numbers() -> dict[str, Any]:
    """Howard's stranger who knows the car and asks 25 for it."""
    decision = _stranger()
    law = decision.profit_law(1000.0)
    policy = decision.policy
    chances = {f"{amount:g}": chance for amount, chance in zip(law.amounts, law.chances, strict=True)}
    return {
        "value": decision.value(1000.0),
        "sd": law.sd,
        "skewness": law.skewness,
        "kurtosis": law.excess_kurtosis,
        "15": chances["15"],
        "35": chances["35"],
        "if_peach": policy.advice(policy.after(policy.start, "stranger", "peach"), 1000.0),
        "if_lemon": policy.advice(policy.after(policy.start, "stranger", "lemon"), 1000.0),
    }


# Other decisions -------------------------------------------------------------------------


def _binary(name: str, positive: Mapping[str, float], cost: float) -> Check:
    chances = {state: {"yes": chance, "no": 1.0 - chance} for state, chance in positive.items()}
    return Check(name, ("yes", "no"), chances, cost=cost)


def pearl_car() -> dict[str, Any]:
    """Price 1500, worth 2000, repair 700, good with 0.7, test passes 0.8 / 0.35 and costs 50."""
    states = {"good": 0.7, "bad": 0.3}
    actions = (FinalAction("buy", {"good": 2000.0, "bad": 1300.0}), _walk(states))
    decision = decide(DecisionProblem(states, actions, (_binary("test", {"good": 0.8, "bad": 0.35}, 50.0),)))
    passed = decide(decision.problem, {"test": "yes"})
    failed = decide(decision.problem, {"test": "no"})
    (worth,) = decision.worth_alone(1500.0)
    return {
        "buy": decision.action_value("buy", 1500.0),
        "passed": passed.action_value("buy", 1500.0),
        "failed": failed.action_value("buy", 1500.0),
        "worth": worth.gross,
        "first": decision.first_step(1500.0),
    }


def wildcatter() -> dict[str, Any]:
    """Dry, wet or soaking hole, seismic sounding for 10 (thousand)."""
    states = {"dry": 0.5, "wet": 0.3, "soaking": 0.2}
    names = ("no structure", "open", "closed")
    rows = {"dry": (0.6, 0.3, 0.1), "wet": (0.3, 0.4, 0.3), "soaking": (0.1, 0.4, 0.5)}
    seismic = Check(
        "seismic",
        names,
        {state: dict(zip(names, row, strict=True)) for state, row in rows.items()},
        cost=10.0,
    )
    drill = FinalAction("drill", {"dry": -70.0, "wet": 50.0, "soaking": 200.0}, price_share=0.0)
    decision = decide(DecisionProblem(states, (drill, _walk(states)), (seismic,)))
    (worth,) = decision.worth_alone(0.0)
    numbers: dict[str, Any] = {
        "blind": decision.action_value("drill", 0.0),
        "perfect": decision.perfect_information(0.0),
        "worth": worth.gross,
        "gross": decision.value(0.0) + 10.0,
        "net": decision.value(0.0),
    }
    for name in names:
        after = decide(decision.problem, {"seismic": name})
        numbers[name] = after.action_value("drill", 0.0)
        numbers[f"{name} advice"] = after.first_step(0.0)
    return numbers


def oil_venture() -> dict[str, Any]:
    """Cost of drilling and size of the deposit both uncertain; sounding for 60,000."""
    costs = {"low": (0.2, 150_000.0), "fair": (0.6, 300_000.0), "high": (0.2, 500_000.0)}
    deposits = {"dry": (0.5, 0.0), "wet": (0.3, 700_000.0), "soaking": (0.2, 1_200_000.0)}
    sounding = {"dry": (0.6, 0.3, 0.1), "wet": (0.3, 0.4, 0.3), "soaking": (0.1, 0.4, 0.5)}
    structures = ("no structure", "open", "closed")
    states = {f"{c} {d}": costs[c][0] * deposits[d][0] for c in costs for d in deposits}
    drill = FinalAction(
        "drill", {f"{c} {d}": deposits[d][1] - costs[c][1] for c in costs for d in deposits}, price_share=0.0
    )

    def told(
        name: str, outcomes: tuple[str, ...], rows: Mapping[str, Mapping[str, float]], cost: float
    ) -> Check:
        return Check(name, outcomes, rows, cost=cost)

    deposit_rows = {f"{c} {d}": {d: 1.0} for c in costs for d in deposits}
    cost_rows = {f"{c} {d}": {c: 1.0} for c in costs for d in deposits}
    sounding_rows = {
        f"{c} {d}": dict(zip(structures, sounding[d], strict=True)) for c in costs for d in deposits
    }
    numbers: dict[str, Any] = {}
    for name, check in {
        "deposit": told("deposit", tuple(deposits), deposit_rows, 0.0),
        "cost": told("cost", tuple(costs), cost_rows, 0.0),
        "sounding": told("sounding", structures, sounding_rows, 60_000.0),
    }.items():
        decision = decide(DecisionProblem(states, (drill, _walk(states)), (check,)))
        (worth,) = decision.worth_alone(0.0)
        numbers[name] = worth.gross
        if name == "sounding":
            numbers |= {
                "blind": decision.action_value("drill", 0.0),
                "net": worth.net + decision.value_without_checks(0.0),
                "first": decision.first_step(0.0),
            }
    return numbers


def goferbroke() -> dict[str, Any]:
    """Drill or sell the land; a survey for 30 (thousand)."""
    states = {"oil": 0.25, "dry": 0.75}
    drill = FinalAction("drill", {"oil": 700.0, "dry": -100.0}, price_share=0.0)
    sell = FinalAction("sell", {"oil": 90.0, "dry": 90.0}, price_share=0.0, needs_seller=False)
    decision = decide(
        DecisionProblem(states, (drill, sell), (_binary("survey", {"oil": 0.6, "dry": 0.2}, 30.0),))
    )
    (worth,) = decision.worth_alone(0.0)
    return {
        "blind": decision.action_value("drill", 0.0),
        "perfect": decision.perfect_information(0.0),
        "worth": worth.gross,
        "gross": decision.value(0.0) + 30.0,
        "net": decision.value(0.0),
    }


def two_faults_trap() -> dict[str, Any]:
    """Two faults at even chance, 100 to gain, 200 lost by any fault, perfect checks at 5 each."""
    states = {f"{a}{b}": 0.25 for a in "01" for b in "01"}
    buy = FinalAction(
        "buy", {state: 100.0 - (200.0 if "1" in state else 0.0) for state in states}, price_share=1.0
    )
    looks = tuple(
        Check(
            f"look {n + 1}",
            ("sound", "faulty"),
            {s: {("sound", "faulty")[int(s[n])]: 1.0} for s in states},
            cost=5.0,
        )
        for n in range(2)
    )
    decision = decide(DecisionProblem(states, (buy, _walk(states)), looks))
    return {"alone": [worth.gross for worth in decision.worth_alone(0.0)], "value": decision.value(0.0)}


def normal_reading(mean: float, sd: float, error_sd: float) -> dict[str, Any]:
    """Worth of one noisy reading of a normal margin; the reading adds a normal error.

    States are Gauss-Legendre nodes of the margin in panels that break at 0, where the best
    action changes; the two outcomes lie below and above the reading at which it changes.
    """
    from scipy.stats import norm

    breaks = np.unique(np.append(mean + sd * np.arange(-9.0, 10.0, 1.5), 0.0))
    nodes, weights = np.polynomial.legendre.leggauss(20)
    half = np.diff(breaks) / 2.0
    margins = ((breaks[:-1] + half)[:, None] + half[:, None] * nodes).ravel()
    chance = (half[:, None] * weights).ravel() * norm.pdf(margins, mean, sd)
    chance /= chance.sum()
    turn = mean - mean * (sd**2 + error_sd**2) / sd**2
    above = norm.sf(turn, margins, error_sd)
    states = {f"m{n}": float(c) for n, c in enumerate(chance)}
    reading = _binary("reading", dict(zip(states, above.tolist(), strict=True)), 0.0)
    buy = FinalAction("buy", dict(zip(states, margins.tolist(), strict=True)), price_share=1.0)
    decision = decide(DecisionProblem(states, (buy, _walk(states)), (reading,)))
    (worth,) = decision.worth_alone(0.0)
    return {"worth": worth.gross, "perfect": decision.perfect_information(0.0)}
