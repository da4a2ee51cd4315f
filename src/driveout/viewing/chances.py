"""How likely each position is, what may be done there and what it would bring."""

from math import isfinite

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry
from driveout.viewing.policy import DIGITS, UNDONE
from driveout.viewing.problem import DecisionProblem


class Chances:
    """Arrays behind a problem; knows chances, payoffs and what is allowed, not what is best."""

    def __init__(self, problem: DecisionProblem) -> None:
        self.problem = problem
        self.states = tuple(problem.states)
        self.prior = np.array([problem.states[state] for state in self.states])
        self.worth = np.array([[action.worth[state] for state in self.states] for action in problem.actions])
        self.price_share = np.array([action.price_share for action in problem.actions])
        self.without_seller = tuple(n for n, action in enumerate(problem.actions) if not action.needs_seller)
        if not self.without_seller and any(check.lose_deal for check in problem.checks):
            raise BadEntry(
                "A check may lose the deal, but every action needs the seller. "
                "Add an action that needs no seller, such as walk.",
                field="actions",
            )
        self.costs = tuple(problem.cost_of(check) for check in problem.checks)
        self._groups = self._grouped()
        self._parts: dict[tuple[int, str], NDArray[np.float64]] = {}
        self._required = tuple(
            tuple(
                (
                    problem.check_number(earlier),
                    DIGITS[problem.checks[problem.check_number(earlier)].outcomes.index(outcome)]
                    if outcome
                    else "",
                )
                for earlier, outcome in check.after.items()
            )
            for check in problem.checks
        )

    def _grouped(self) -> list[tuple[tuple[int, ...], NDArray[np.float64]]]:
        """Each set of dependent checks with its table: state x outcomes of each check."""
        grouped: list[tuple[tuple[int, ...], NDArray[np.float64]]] = []
        joint = {name for table in self.problem.joint_tables for name in table.checks}
        for number, check in enumerate(self.problem.checks):
            if check.name not in joint:
                table = [[check.chances[state].get(o, 0.0) for o in check.outcomes] for state in self.states]
                grouped.append(((number,), np.array(table)))
        for joint_table in self.problem.joint_tables:
            numbers = tuple(self.problem.check_number(name) for name in joint_table.checks)
            names = [self.problem.checks[number].outcomes for number in numbers]
            array = np.zeros((len(self.states), *(len(outcomes) for outcomes in names)))
            for place, state in enumerate(self.states):
                for row, chance in joint_table.rows[state].items():
                    index = tuple(outcomes.index(o) for outcomes, o in zip(names, row, strict=True))
                    array[(place, *index)] += chance
            grouped.append((numbers, array))
        return grouped

    def weights(self, position: str) -> NDArray[np.float64]:
        """Chance of each state together with all outcomes found."""
        weights = self.prior
        for place, (numbers, table) in enumerate(self._groups):
            signs = "".join(position[number] for number in numbers)
            if signs.strip(UNDONE):
                weights = weights * self._part(place, signs, table)
        return weights

    def _part(self, place: int, signs: str, table: NDArray[np.float64]) -> NDArray[np.float64]:
        if (place, signs) not in self._parts:
            for sign in reversed(signs):
                table = table.sum(axis=-1) if sign == UNDONE else table[..., DIGITS.index(sign)]
                # The axis that was reduced is the last; the next sign belongs to the one before.
            self._parts[(place, signs)] = table
        return self._parts[(place, signs)]

    def why_not(self, position: str, number: int) -> str:
        """Why a check cannot be done at a position; empty if it can."""
        problem = self.problem
        check = problem.checks[number]
        if position[number] != UNDONE:
            return "done"
        for earlier, sign in self._required[number]:
            if position[earlier] == UNDONE or (sign and position[earlier] != sign):
                name = problem.checks[earlier].name
                return f"only after {name}" + (f" with outcome {check.after[name]}" if sign else "")
        for names in problem.one_of:
            if check.name in names:
                done = [
                    c.name for n, c in enumerate(problem.checks) if c.name in names and position[n] != UNDONE
                ]
                if done:
                    return f"instead of {done[0]}"
        if isfinite(problem.minutes_available):
            used = sum(c.minutes for n, c in enumerate(problem.checks) if position[n] != UNDONE)
            if used + check.minutes > problem.minutes_available + 1e-9:
                return "not enough time"
        return ""

    def action_lines(self, weights: NDArray[np.float64]) -> list[tuple[float, float]]:
        """Value at price 0 and fall of each final action."""
        total = float(weights.sum())
        at_nought = self.worth @ weights
        return [
            (float(a), float(share) * total) for a, share in zip(at_nought, self.price_share, strict=True)
        ]

    def payoffs(self, price: float) -> NDArray[np.float64]:
        """Profit of each final action in each state at a price."""
        return self.worth - self.price_share[:, None] * price

    def lost(self, weights: NDArray[np.float64]) -> float:
        """Best that is left when the seller has called it off (price plays no part)."""
        return max(float(self.worth[number] @ weights) for number in self.without_seller)
