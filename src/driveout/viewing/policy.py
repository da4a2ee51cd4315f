"""The advice for every position that can be reached, small enough to carry on a phone.

A position is what has been found so far. For each position the policy holds the ceiling
(the highest price at which it is not best to walk away) and, where it is worth going on,
the step to take between one price and the next. Walking the table needs no arithmetic
beyond comparing two prices, so a saved page can do it.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite
from typing import Any

from driveout.errors import BadEntry

SCHEMA = "driveout-policy/1"
# Outcomes are written as one digit each, so that positions stay short and pack well.
DIGITS = "0123456789abcdefghijklmnopqrstuvwxyz"
UNDONE = "."


@dataclass(frozen=True)
class Node:
    """One position.

    Parameters
    ----------
    ceiling
        Highest price at which it is not best to walk away; None if walking is best at any
        price, infinite if it never is. [money]
    steps
        ``(from_price, step)`` in the order of rising price. A step below 0 is the final
        action ``-1 - step``; otherwise it is the number of a check.
    """

    ceiling: float | None
    steps: tuple[tuple[float, int], ...]

    def step_at(self, price: float) -> int:
        """Step to take at a price."""
        found = self.steps[0][1]
        for start, step in self.steps:
            if start > price:
                break
            found = step
        return found


@dataclass(frozen=True)
class Policy:
    """Advice for every position that can be reached at some price of the range.

    Parameters
    ----------
    actions
        Names of the final actions.
    checks
        Names of the checks.
    outcomes
        Per check the names of its outcomes.
    nodes
        Position to advice; the position has one sign per check, ``.`` while it is undone.
    price_range
        Least and greatest price that the policy was made for. [money]
    from_position
        Position that the policy starts from; empty if nothing was known before.
    """

    actions: tuple[str, ...]
    checks: tuple[str, ...]
    outcomes: tuple[tuple[str, ...], ...]
    nodes: Mapping[str, Node]
    price_range: tuple[float, float]
    from_position: str = ""

    @property
    def start(self) -> str:
        """Position before the first check."""
        return UNDONE * len(self.checks)

    def after(self, position: str, check: str, outcome: str) -> str:
        """Position after one more check.

        Parameters
        ----------
        position
            Position before.
        check
            Name of the check.
        outcome
            Name of its outcome.

        Returns
        -------
        str
            Position after; it may be one that the policy never leads to.

        Raises
        ------
        BadEntry
            If there is no such check or outcome.
        """
        if check not in self.checks:
            raise BadEntry(
                f"There is no check {check!r}.", field="check", value=check, allowed=", ".join(self.checks)
            )
        number = self.checks.index(check)
        if outcome not in self.outcomes[number]:
            raise BadEntry(
                f"Check {check!r} has no outcome {outcome!r}.",
                field="outcome",
                value=outcome,
                allowed=", ".join(self.outcomes[number]),
            )
        sign = DIGITS[self.outcomes[number].index(outcome)]
        return position[:number] + sign + position[number + 1 :]

    def step_name(self, step: int) -> str:
        """Name of the final action or check behind a step number."""
        return self.actions[-1 - step] if step < 0 else self.checks[step]

    def advice(self, position: str, price: float) -> str:
        """Name of the best step at a position and price.

        Parameters
        ----------
        position
            What has been found so far.
        price
            Price asked now. [money]

        Returns
        -------
        str
            Name of a check, or of a final action.

        Raises
        ------
        BadEntry
            If the policy never leads to this position.
        """
        if position not in self.nodes:
            raise BadEntry(
                f"The plan never leads to {position!r}. Plan again from what has been found.",
                field="position",
                value=position,
            )
        return self.step_name(self.nodes[position].step_at(price))


def children(position: str, check: int, outcomes: int) -> Iterator[str]:
    """Positions that a check may lead to, in the order of its outcomes."""
    for sign in DIGITS[:outcomes]:
        yield position[:check] + sign + position[check + 1 :]


def as_table(policy: Policy, decimals: int = 0) -> dict[str, Any]:
    """The policy as a small JSON-able table.

    Positions are not written: the list of nodes follows the order in which a walk from the
    start meets them (`walk_order`), so a reader finds them again by the same walk. A position
    where it only remains to take the usual action up to the ceiling is written as the ceiling
    alone; ``usual`` names the steps below and above it.

    Parameters
    ----------
    policy
        The policy.
    decimals
        Decimals kept of each price.

    Returns
    -------
    dict[str, Any]
        ``schema, actions, checks, outcomes, start, usual, from, to, nodes``; a node is its
        ceiling, or ``[ceiling, step, price, step, price, step, ...]`` with each price the one
        from which the step after it is best, or None for an outcome that cannot happen.
    """
    usual = _usual_steps(policy)
    rows: list[Any] = []
    start = policy.from_position or policy.start
    for position in walk_order(start, policy.outcomes, lambda p: checks_of(policy.nodes.get(p))):
        node = policy.nodes.get(position)
        if node is None:
            rows.append(None)
            continue
        ceiling = _short(node.ceiling, decimals)
        row: list[Any] = [ceiling]
        for number, (price, step) in enumerate(node.steps):
            if number:
                row.append(_short(price, decimals))
            row.append(step)
        plain = usual is not None and row == [ceiling, usual[0], ceiling, usual[1]]
        rows.append(ceiling if plain else row)
    return {
        "schema": SCHEMA,
        "actions": list(policy.actions),
        "checks": list(policy.checks),
        "outcomes": [list(names) for names in policy.outcomes],
        "start": start,
        "usual": list(usual) if usual else None,
        "from": _short(policy.price_range[0], decimals),
        "to": _short(policy.price_range[1], decimals),
        "nodes": rows,
    }


def checks_of(node: Node | None) -> tuple[int, ...]:
    """Checks advised at some price, in the order of rising price, each once."""
    return tuple(dict.fromkeys(step for _, step in node.steps if step >= 0)) if node else ()


def walk_order(
    start: str, outcomes: Sequence[Sequence[str]], checks_at: Callable[[str], Iterable[int]]
) -> Iterator[str]:
    """Positions in the order in which a walk meets them: first met, first looked at.

    Parameters
    ----------
    start
        Position to begin with.
    outcomes
        Names of the outcomes of each check.
    checks_at
        Checks advised at a position that was met; asked after the position was given out.

    Yields
    ------
    str
        Each position once.
    """
    met = {start}
    waiting = deque([start])
    while waiting:
        position = waiting.popleft()
        yield position
        for check in checks_at(position):
            for child in children(position, check, len(outcomes[check])):
                if child not in met:
                    met.add(child)
                    waiting.append(child)


def from_table(table: Mapping[str, Any]) -> Policy:
    """Read a policy back from its table.

    Parameters
    ----------
    table
        What ``as_table`` made.

    Returns
    -------
    Policy
        The policy, with prices rounded as they were written.

    Raises
    ------
    BadEntry
        If the table is of another kind.
    """
    if table.get("schema") != SCHEMA:
        raise BadEntry(
            f"This is no policy: its schema is {table.get('schema')!r}, expected {SCHEMA!r}.",
            field="schema",
            value=table.get("schema"),
            allowed=SCHEMA,
        )
    lowest = float(table["from"])
    usual = table["usual"]
    nodes: dict[str, Node] = {}
    rows = iter(table["nodes"])
    for position in walk_order(table["start"], table["outcomes"], lambda p: checks_of(nodes.get(p))):
        row = next(rows)
        if row is None:
            continue
        if not isinstance(row, list):
            row = [row, usual[0], row, usual[1]]
        steps = [(lowest, int(row[1]))]
        steps += [(float(row[i]), int(row[i + 1])) for i in range(2, len(row), 2)]
        nodes[position] = Node(_long(row[0]), tuple(steps))
    return Policy(
        actions=tuple(table["actions"]),
        checks=tuple(table["checks"]),
        outcomes=tuple(tuple(names) for names in table["outcomes"]),
        nodes=nodes,
        price_range=(lowest, inf if table["to"] == "any" else float(table["to"])),
        from_position=table["start"],
    )


def _usual_steps(policy: Policy) -> tuple[int, int] | None:
    """The pair of steps that most positions have below and above their ceiling."""
    counted: dict[tuple[int, int], int] = {}
    for node in policy.nodes.values():
        if len(node.steps) == 2 and node.steps[0][1] < 0 and node.steps[1][1] < 0:
            pair = (node.steps[0][1], node.steps[1][1])
            counted[pair] = counted.get(pair, 0) + 1
    return max(counted, key=lambda pair: (counted[pair], pair)) if counted else None


def _short(amount: float | None, decimals: int) -> float | int | str | None:
    """A price as short as JSON allows; ``any`` stands for no upper end."""
    if amount is None:
        return None
    if not isfinite(amount):
        return "any"
    rounded = round(amount, decimals)
    return int(rounded) if rounded == int(rounded) else rounded


def _long(amount: float | int | str | None) -> float | None:
    """Undo ``_short``."""
    if amount is None:
        return None
    return inf if amount == "any" else float(amount)
