"""The best plan for a viewing, for all asking prices at once.

Exact dynamic programme over what has been found so far. At each position one may take a
final action or do a check that is allowed there; the value is the best of these as a
function of the price (`price_curve`). Chances are kept unnormalised: the weight of a
position is the chance of each hidden state *and* of the outcomes found, so that the value
of a check is the plain sum over its outcomes.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from math import inf

import numpy as np

from driveout.errors import BadEntry, CannotSay
from driveout.viewing.chances import Chances
from driveout.viewing.policy import DIGITS, UNDONE, Node, Policy, children
from driveout.viewing.price_curve import Curve, Line, added, best_of, piece_at, value_at
from driveout.viewing.problem import DecisionProblem
from driveout.viewing.profit_law import ProfitLaw

# Past this the plain recursion takes minutes; the fault plan (`fault_plan`) goes further.
MOST_POSITIONS = 100_000


@dataclass(frozen=True)
class CheckWorth:
    """What one check alone is worth at a position and price.

    Parameters
    ----------
    name
        The check.
    gross
        Gain of knowing its outcome before the final action, if it cost nothing and did not
        try the seller's patience. Never negative. [money]
    cost
        Money, own time and the risk of losing the deal. [money]
    allowed
        False if it cannot be done now.
    why_not
        Why it cannot be done now, in words.
    """

    name: str
    gross: float
    cost: float
    allowed: bool = True
    why_not: str = ""

    @property
    def net(self) -> float:
        """Worth after its cost, in money."""
        return self.gross - self.cost


@dataclass(frozen=True)
class _Position:
    """What the programme keeps of one position."""

    weight: float
    curve: Curve
    without_checks: Curve


@dataclass(frozen=True)
class Decision:
    """The answer to a decision problem; ask it for any price.

    Parameters
    ----------
    problem
        The problem that was solved.
    found
        Outcomes known at the start, by check.
    """

    problem: DecisionProblem
    found: Mapping[str, str]

    @cached_property
    def _model(self) -> Chances:
        return Chances(self.problem)

    @cached_property
    def start(self) -> str:
        """Position that the answer starts from."""
        position = UNDONE * len(self.problem.checks)
        for name, outcome in self.found.items():
            number = self.problem.check_number(name, "found")
            names = self.problem.checks[number].outcomes
            if outcome not in names:
                raise BadEntry(
                    f"Check {name!r} has no outcome {outcome!r}.",
                    field=f"found.{name}",
                    value=outcome,
                    allowed=", ".join(names),
                )
            position = position[:number] + DIGITS[names.index(outcome)] + position[number + 1 :]
        return position

    @cached_property
    def _positions(self) -> dict[str, _Position]:
        return _solve(self._model, self.start)

    @property
    def _root(self) -> _Position:
        return self._positions[self.start]

    def value(self, price: float) -> float:
        """Expected profit of the best plan at a price, in money."""
        return value_at(self._root.curve, price) / self._root.weight

    def value_without_checks(self, price: float) -> float:
        """Expected profit of the best final action taken now, in money."""
        return value_at(self._root.without_checks, price) / self._root.weight

    def first_step(self, price: float) -> str:
        """Name of the check to do first, or of the final action to take."""
        return self.policy.advice(self.start, price)

    def action_value(self, name: str, price: float) -> float:
        """Expected profit of one final action taken now.

        Parameters
        ----------
        name
            Name of the action.
        price
            Price asked. [money]

        Returns
        -------
        float
            Expected profit. [money]

        Raises
        ------
        BadEntry
            If there is no such action.
        """
        for action, (at_nought, fall) in zip(
            self.problem.actions, self._model.action_lines(self._model.weights(self.start)), strict=True
        ):
            if action.name == name:
                return (at_nought - fall * price) / self._root.weight
        known = ", ".join(action.name for action in self.problem.actions)
        raise BadEntry(f"There is no action {name!r}.", field="action", value=name, allowed=known)

    @property
    def ceiling(self) -> float | None:
        """Walk-away price when checks may still be done, in money."""
        return _ceiling(self._root.curve, self._model)

    @property
    def ceiling_without_checks(self) -> float | None:
        """Walk-away price when no check is done any more, in money."""
        return _ceiling(self._root.without_checks, self._model)

    @property
    def trip_price(self) -> float | None:
        """Highest price at which going there is worth the trip; None if it never is, in money."""
        trip = self.problem.trip_cost * self._root.weight
        best = None
        for number, piece in enumerate(self._root.curve):
            if piece.at_nought - piece.fall * piece.start <= trip:
                break
            last = number + 1 == len(self._root.curve)
            end = self.problem.price_range[1] if last else self._root.curve[number + 1].start
            best = min(end, (piece.at_nought - trip) / piece.fall) if piece.fall > 0.0 else end
        return best

    def perfect_information(self, price: float) -> float:
        """Gain of knowing the hidden state before the final action, in money."""
        weights = self._model.weights(self.start)
        best = np.max(self._model.payoffs(price), axis=0)
        return float(weights @ best) / self._root.weight - self.value_without_checks(price)

    def worth_alone(self, price: float) -> tuple[CheckWorth, ...]:
        """Worth of each check if it were the only one, at the start position.

        Parameters
        ----------
        price
            Price asked. [money]

        Returns
        -------
        tuple[CheckWorth, ...]
            One per check not done yet, in the order of the problem.
        """
        return tuple(
            _worth_alone(self._model, self.start, number, price)
            for number in range(len(self.problem.checks))
            if self.start[number] == UNDONE
        )

    @cached_property
    def policy(self) -> Policy:
        """Advice for every position that can be reached."""
        nodes: dict[str, Node] = {}
        waiting = [self.start]
        while waiting:
            position = waiting.pop()
            if position in nodes or position not in self._positions:
                continue
            solved = self._positions[position]
            nodes[position] = Node(
                _ceiling(solved.curve, self._model),
                _steps(solved.curve),
                _ceiling(solved.without_checks, self._model),
            )
            for _, step in nodes[position].steps:
                if step >= 0:
                    waiting += children(position, step, len(self.problem.checks[step].outcomes))
        return Policy(
            actions=tuple(action.name for action in self.problem.actions),
            checks=tuple(check.name for check in self.problem.checks),
            outcomes=tuple(check.outcomes for check in self.problem.checks),
            nodes=nodes,
            price_range=self.problem.price_range,
            from_position=self.start,
        )

    def profit_law(self, price: float) -> ProfitLaw:
        """Distribution of the profit when the plan is followed at a price.

        Parameters
        ----------
        price
            Price that is asked and paid. [money]

        Returns
        -------
        ProfitLaw
            Every possible profit with its chance; equal profits are merged.
        """
        masses: dict[float, float] = {}
        total = self._root.weight
        for amount, weight in self._ends(self.start, price, 0.0, 1.0):
            key = round(amount, 9)
            masses[key] = masses.get(key, 0.0) + weight / total
        amounts = sorted(amount for amount, chance in masses.items() if chance > 0.0)
        return ProfitLaw(tuple(amounts), tuple(masses[amount] for amount in amounts))

    def _ends(
        self, position: str, price: float, spent: float, open_share: float
    ) -> Iterator[tuple[float, float]]:
        """Every end of the plan from a position on: profit and weight."""
        model = self._model
        step = piece_at(self._positions[position].curve, price).step
        weights = model.weights(position) * open_share
        if step < 0:
            yield from zip(model.payoffs(price)[-1 - step] - spent, weights, strict=True)
            return
        check = self.problem.checks[step]
        spent += self.problem.cost_of(check)
        if check.lose_deal:
            best = max(model.without_seller, key=lambda number: float(weights @ model.payoffs(price)[number]))
            yield from zip(model.payoffs(price)[best] - spent, weights * check.lose_deal, strict=True)
        for child in children(position, step, len(check.outcomes)):
            if child in self._positions:
                yield from self._ends(child, price, spent, open_share * (1.0 - check.lose_deal))


def decide(problem: DecisionProblem, found: Mapping[str, str] | None = None) -> Decision:
    """Best plan for a decision with checks, for all prices at once.

    Parameters
    ----------
    problem
        States, final actions, checks.
    found
        Outcomes known already, by check.

    Returns
    -------
    Decision
        Values, ceilings, policy, the worth of each check, the law of the profit.

    Raises
    ------
    CannotSay
        If the outcomes found are impossible, or there are too many positions to list.

    References
    ----------
    howard-used-car, raiffa-1968; docs/method/viewing.md.
    """
    decision = Decision(problem, dict(found or {}))
    if decision._root.weight <= 0.0:
        raise CannotSay(
            "What was found cannot happen in any of the states given. Correct a finding or the chances.",
            missing="a state in which the findings are possible",
        )
    return decision


def _solve(model: Chances, start: str) -> dict[str, _Position]:
    """Value curve of every position that has a chance to occur."""
    problem = model.problem
    lowest, highest = problem.price_range
    solved: dict[str, _Position] = {}

    def solve(position: str) -> _Position:
        if position in solved:
            return solved[position]
        if len(solved) > MOST_POSITIONS:
            raise CannotSay(
                f"There are more than {MOST_POSITIONS} positions. Leave out checks, or give faults instead of states.",
                missing="a smaller set of checks",
            )
        weights = model.weights(position)
        weight = float(weights.sum())
        finals: list[Line] = [(a, fall, -1 - n) for n, (a, fall) in enumerate(model.action_lines(weights))]
        finals.sort(key=lambda line: line[1])
        lines = list(finals)
        if weight > 0.0:
            for number, check in enumerate(problem.checks):
                if model.why_not(position, number):
                    continue
                curves = []
                for child in children(position, number, len(check.outcomes)):
                    if model.weights(child).sum() > 0.0:
                        curves.append(solve(child).curve)
                plus = -model.costs[number] * weight
                if check.lose_deal:
                    plus += check.lose_deal * model.lost(weights)
                lines += added(curves, lowest, 1.0 - check.lose_deal, plus, number)
        solved[position] = _Position(
            weight, best_of(lines, lowest, highest), best_of(finals, lowest, highest)
        )
        return solved[position]

    solve(start)
    return solved


def _worth_alone(model: Chances, position: str, number: int, price: float) -> CheckWorth:
    """Worth of one check done alone at a position."""
    check = model.problem.checks[number]
    weights = model.weights(position)
    payoffs = model.payoffs(price)
    now = float(np.max(payoffs @ weights))
    total = float(weights.sum())
    informed = 0.0
    lost = 0.0
    for child in children(position, number, len(check.outcomes)):
        informed += float(np.max(payoffs @ model.weights(child)))
    if check.lose_deal:
        lost = check.lose_deal * (informed - model.lost(weights))
    why_not = model.why_not(position, number)
    return CheckWorth(
        name=check.name,
        gross=max(0.0, (informed - now) / total),
        cost=model.costs[number] + lost / total,
        allowed=not why_not,
        why_not=why_not,
    )


def _steps(curve: Curve) -> tuple[tuple[float, int], ...]:
    """Where the advised step changes along a curve."""
    steps: list[tuple[float, int]] = []
    for piece in curve:
        if not steps or steps[-1][1] != piece.step:
            steps.append((piece.start, piece.step))
    return tuple(steps)


def _ceiling(curve: Curve, model: Chances) -> float | None:
    """Highest price at which something other than leaving is best."""
    leaving = {-1 - number for number in model.without_seller}
    for number in range(len(curve) - 1, -1, -1):
        if curve[number].step not in leaving:
            return curve[number + 1].start if number + 1 < len(curve) else inf
    return None
