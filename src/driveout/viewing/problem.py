"""A decision with hidden states, final actions and checks, as plain frozen values."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf, isclose, isfinite

from driveout.errors import BadEntry

# Chances that a person types are rounded; a sum this near to 1 is taken as meant.
SUM_SLACK = 1e-6


@dataclass(frozen=True)
class FinalAction:
    """Something that ends the viewing: buy, buy with a guarantee, walk away.

    Parameters
    ----------
    name
        What it is called on the screen.
    worth
        What it brings in each hidden state before the price is paid. [money]
    price_share
        Part of the price that is paid: 1 for a purchase, 0 for walking away.
    needs_seller
        True if it is impossible once the seller has called the deal off.
    """

    name: str
    worth: Mapping[str, float]
    price_share: float = 1.0
    needs_seller: bool = True


@dataclass(frozen=True)
class Check:
    """A look or a test with two or more outcomes.

    Parameters
    ----------
    name
        What it is called on the screen.
    outcomes
        Names of the outcomes, in the order in which they are shown.
    chances
        Per hidden state the chance of each outcome, independent of other checks given the
        state. Empty if the check stands in a joint table.
    cost
        Money it takes. [money]
    minutes
        Own time it takes. [min]
    lose_deal
        Chance that the seller loses patience over it and sells to somebody else.
    after
        Checks that must have been done before; the value is the outcome they must have
        had, or an empty text for any.
    caution
        What can hurt while doing it.
    """

    name: str
    outcomes: tuple[str, ...]
    chances: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    cost: float = 0.0
    minutes: float = 0.0
    lose_deal: float = 0.0
    after: Mapping[str, str] = field(default_factory=dict)
    caution: str = ""


@dataclass(frozen=True)
class JointTable:
    """Checks whose outcomes depend on each other even when the state is known.

    Parameters
    ----------
    checks
        Names of the checks, in the order of the outcomes in each row.
    rows
        Per hidden state the chance of each combination of outcomes.
    """

    checks: tuple[str, ...]
    rows: Mapping[str, Mapping[tuple[str, ...], float]]


@dataclass(frozen=True)
class DecisionProblem:
    """All that is needed to plan a viewing.

    Parameters
    ----------
    states
        Chance of each hidden state; they sum to 1.
    actions
        Final actions, at least one.
    checks
        Checks on offer, each at most once.
    joint_tables
        Joint chances for checks that are not independent given the state.
    one_of
        Sets of checks of which at most one may be done.
    wage_per_hour
        What an hour of own time is worth. [money/h]
    minutes_available
        Time there is for checks. [min]
    price_range
        Least and greatest price of interest. [money]
    asking
        Price asked now. [money]
    trip_cost
        What going there costs, charged only in the trip price. [money]
    currency
        ISO 4217 code of all money.
    name
        What the decision is called.

    Raises
    ------
    BadEntry
        If chances do not sum to 1, a name is unknown or used twice, or a number is absurd.
    """

    states: Mapping[str, float]
    actions: tuple[FinalAction, ...]
    checks: tuple[Check, ...] = ()
    joint_tables: tuple[JointTable, ...] = ()
    one_of: tuple[frozenset[str], ...] = ()
    wage_per_hour: float = 0.0
    minutes_available: float = inf
    price_range: tuple[float, float] = (0.0, inf)
    asking: float = 0.0
    trip_cost: float = 0.0
    currency: str = "USD"
    name: str = ""

    def __post_init__(self) -> None:
        """Refuse a problem that cannot be meant."""
        _whole(self.states, "states")
        if not self.actions:
            raise BadEntry(
                "No final action was given. Give at least one, such as buy or walk.", field="actions"
            )
        _unique([action.name for action in self.actions], "actions")
        _unique([check.name for check in self.checks], "checks")
        lowest, highest = self.price_range
        if not (isfinite(lowest) and lowest < highest):
            raise BadEntry(
                f"The price range {lowest} to {highest} is empty. Give the lower price first.",
                field="price_range",
                value=[lowest, highest],
                fix="Write [lowest, highest], for example [500, 3000].",
            )
        for name, amount in (
            ("wage_per_hour", self.wage_per_hour),
            ("minutes_available", self.minutes_available),
            ("trip_cost", self.trip_cost),
            ("asking", self.asking),
        ):
            _not_negative(amount, name)
        for action in self.actions:
            self._check_action(action)
        jointly = [name for table in self.joint_tables for name in table.checks]
        _unique(jointly, "together")
        for check in self.checks:
            self._check_check(check, check.name in jointly)
        for table in self.joint_tables:
            self._check_table(table)
        for names in self.one_of:
            for name in names:
                self.check_number(name, "one_of")

    def check_number(self, name: str, place: str = "checks") -> int:
        """Place of a check in the list.

        Parameters
        ----------
        name
            Name of the check.
        place
            Field to name in the message.

        Returns
        -------
        int
            Position, from 0.

        Raises
        ------
        BadEntry
            If there is no such check.
        """
        for number, check in enumerate(self.checks):
            if check.name == name:
                return number
        known = ", ".join(check.name for check in self.checks) or "none"
        raise BadEntry(
            f"There is no check {name!r}. Known checks: {known}.", field=place, value=name, allowed=known
        )

    def cost_of(self, check: Check) -> float:
        """Money plus own time of a check, in money."""
        return check.cost + self.wage_per_hour * check.minutes / 60.0

    def _check_action(self, action: FinalAction) -> None:
        missing = [state for state in self.states if state not in action.worth]
        if missing:
            raise BadEntry(
                f"Action {action.name!r} has no worth for state {missing[0]!r}. Give one for every state.",
                field=f"actions.{action.name}.worth",
                value=missing,
            )
        for state, amount in action.worth.items():
            if not isfinite(amount):
                raise BadEntry(
                    f"The worth {amount} is not a number.", field=f"actions.{action.name}.worth.{state}"
                )
        _not_negative(action.price_share, f"actions.{action.name}.price_share")

    def _check_check(self, check: Check, joint: bool) -> None:
        place = f"checks.{check.name}"
        if len(check.outcomes) < 2:
            raise BadEntry(
                f"Check {check.name!r} has {len(check.outcomes)} outcome. A check needs two or more.",
                field=f"{place}.outcomes",
            )
        _unique(list(check.outcomes), f"{place}.outcomes")
        for name, amount in (("cost", check.cost), ("minutes", check.minutes)):
            _not_negative(amount, f"{place}.{name}")
        if not 0.0 <= check.lose_deal < 1.0:
            raise BadEntry(
                f"The chance {check.lose_deal} of losing the deal is outside 0 to below 1.",
                field=f"{place}.lose_deal",
                value=check.lose_deal,
                allowed="0 <= lose_deal < 1",
            )
        if joint and check.chances:
            raise BadEntry(
                f"Check {check.name!r} has its own chances and stands in a joint table. Keep one of the two.",
                field=f"{place}.chances",
            )
        for earlier, outcome in check.after.items():
            before = self.checks[self.check_number(earlier, f"{place}.after")]
            if outcome and outcome not in before.outcomes:
                raise BadEntry(
                    f"Check {earlier!r} has no outcome {outcome!r}.",
                    field=f"{place}.after.{earlier}",
                    value=outcome,
                    allowed=", ".join(before.outcomes),
                )
        if not joint:
            for state in self.states:
                if state not in check.chances:
                    raise BadEntry(
                        f"Check {check.name!r} has no chances for state {state!r}. Give them for every state.",
                        field=f"{place}.chances",
                        value=state,
                    )
                row = check.chances[state]
                for outcome in row:
                    if outcome not in check.outcomes:
                        raise BadEntry(
                            f"Outcome {outcome!r} of check {check.name!r} is not in its list of outcomes.",
                            field=f"{place}.chances.{state}",
                            value=outcome,
                            allowed=", ".join(check.outcomes),
                        )
                _whole(row, f"{place}.chances.{state}")

    def _check_table(self, table: JointTable) -> None:
        allowed = [self.checks[self.check_number(name, "together")].outcomes for name in table.checks]
        for state in self.states:
            if state not in table.rows:
                raise BadEntry(
                    f"The joint table of {', '.join(table.checks)} has no rows for state {state!r}.",
                    field="together.chances",
                    value=state,
                )
            for row in table.rows[state]:
                if len(row) != len(allowed) or any(
                    o not in known for o, known in zip(row, allowed, strict=False)
                ):
                    raise BadEntry(
                        f"The joint row {', '.join(row)} does not name one outcome of each of {', '.join(table.checks)}.",
                        field=f"together.chances.{state}",
                        value=list(row),
                    )
            _whole(
                {" ".join(row): chance for row, chance in table.rows[state].items()},
                f"together.chances.{state}",
            )


def _whole(chances: Mapping[str, float], place: str) -> None:
    """Refuse chances that are negative or do not sum to 1."""
    for name, chance in chances.items():
        if not (isfinite(chance) and 0.0 <= chance <= 1.0 + SUM_SLACK):
            raise BadEntry(
                f"The chance {chance} of {name!r} is outside 0 to 1.",
                field=f"{place}.{name}",
                value=chance,
                allowed="0 to 1",
            )
    total = sum(chances.values())
    if not isclose(total, 1.0, abs_tol=SUM_SLACK):
        raise BadEntry(
            f"The chances of {', '.join(chances) or 'nothing'} sum to {total:.6g}; they must sum to 1.",
            field=place,
            value=total,
            fix="Correct the chances; a fraction such as 2/9 may be written as text.",
        )


def _unique(names: list[str], place: str) -> None:
    """Refuse a name that is used twice."""
    for name in names:
        if names.count(name) > 1:
            raise BadEntry(f"{name!r} is there twice. Give each one its own name.", field=place, value=name)


def _not_negative(amount: float, place: str) -> None:
    """Refuse a negative amount or one that is no number."""
    if not amount >= 0.0:
        raise BadEntry(
            f"{amount} is below 0. Give 0 or more.", field=place, value=amount, allowed="0 or more"
        )
