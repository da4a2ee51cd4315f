"""The advice for every position that can be reached, small enough to carry on a phone.

A position is what has been found so far. For each position the policy holds the ceiling
(the highest price at which it is not best to walk away) and, where it is worth going on,
the step to take between one price and the next. Walking the table needs no arithmetic
beyond comparing two prices, so a saved page can do it.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
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
    stop
        Ceiling if no further check is done from here; None if it was not worked out. [money]
    """

    ceiling: float | None
    steps: tuple[tuple[float, int], ...]
    stop: float | None = None

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

    def in_order(self) -> list[str]:
        """Positions in the order of the table's nodes."""
        start = self.from_position or self.start
        return list(walk_order((start,), self.outcomes, lambda position: checks_of(self.nodes.get(position))))

    def scaled(self, factor: float) -> "Policy":
        """The same policy with all prices in another unit.

        Parameters
        ----------
        factor
            New unit per old unit, 0.01 from cents to dollars.

        Returns
        -------
        Policy
            Prices times the factor.
        """

        def times(price: float | None) -> float | None:
            return None if price is None else price * factor

        nodes = {
            position: Node(
                times(node.ceiling),
                tuple((price * factor, step) for price, step in node.steps),
                times(node.stop),
            )
            for position, node in self.nodes.items()
        }
        low, high = self.price_range
        return replace(self, nodes=nodes, price_range=(low * factor, high * factor))

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
    start meets them (`walk_order`), so a reader finds them again by the same walk. Prices at
    which the advice changes stand once in ``edges``. Most positions begin with the step
    ``usual[0]`` and end with ``usual[1]`` from the ceiling on; these two are not repeated.

    Parameters
    ----------
    policy
        The policy.
    decimals
        Decimals kept of each price.

    Returns
    -------
    dict[str, Any]
        ``schema, actions, checks, outcomes, start, usual, from, to, edges, nodes``. A node is
        a ceiling alone; ``[ceiling, edge, step, edge, step, ...]`` with each edge the place in
        ``edges`` of the price from which the step after it is best; ``"no"`` where ``usual[1]``
        is best at any price; None for an outcome that cannot happen; or, where nothing is as
        usual, ``{"ceiling": c, "steps": [step, edge, step, ...]}``.
    """
    usual = usual_steps(policy)
    start = policy.from_position or policy.start
    found = [policy.nodes.get(position) for position in policy.in_order()]
    edges = sorted({_short(price, decimals) for node in found if node for price, _ in _inner(node, usual)})
    place = {price: number for number, price in enumerate(edges)}
    return {
        "schema": SCHEMA,
        "actions": list(policy.actions),
        "checks": list(policy.checks),
        "outcomes": [list(names) for names in policy.outcomes],
        "start": start,
        "usual": list(usual),
        "from": _short(policy.price_range[0], decimals),
        "to": _short(policy.price_range[1], decimals) if isfinite(policy.price_range[1]) else None,
        "edges": edges,
        "nodes": [None if node is None else _packed(node, usual, place, decimals) for node in found],
    }


def _is_usual(node: Node, usual: tuple[int, int]) -> bool:
    """Whether a node begins and ends with the usual steps."""
    last = node.steps[-1]
    return len(node.steps) > 1 and node.steps[0][1] == usual[0] and last == (node.ceiling, usual[1])


def _inner(node: Node, usual: tuple[int, int]) -> tuple[tuple[float, int], ...]:
    """The steps of a node that have to be written with their prices."""
    return node.steps[1:-1] if _is_usual(node, usual) else node.steps[1:]


def _packed(node: Node, usual: tuple[int, int], place: Mapping[float, int], decimals: int) -> Any:
    if node.ceiling is None and node.steps[0][1] == usual[1] and len(node.steps) == 1:
        return "no"
    pairs = [n for price, step in _inner(node, usual) for n in (place[_short(price, decimals)], step)]
    ceiling = node.ceiling if node.ceiling is None or isfinite(node.ceiling) else "any"
    ceiling = _short(ceiling, decimals) if isinstance(ceiling, float) else ceiling
    if not _is_usual(node, usual):
        return {"ceiling": ceiling, "steps": [node.steps[0][1], *pairs]}
    return [ceiling, *pairs] if pairs else ceiling


def _unpacked(row: Any, usual: tuple[int, int], edges: Sequence[float], lowest: float) -> Node:
    last: tuple[tuple[float, int], ...]
    if row == "no":
        return Node(None, ((lowest, usual[1]),))
    if isinstance(row, dict):
        first, ceiling, pairs, last = row["steps"][0], row["ceiling"], row["steps"][1:], ()
        ceiling = inf if ceiling == "any" else ceiling
    else:
        ceiling, *pairs = row if isinstance(row, list) else [row]
        first, last = usual[0], ((float(ceiling), usual[1]),)
    inner = tuple((float(edges[pairs[n]]), int(pairs[n + 1])) for n in range(0, len(pairs), 2))
    return Node(None if ceiling is None else float(ceiling), ((lowest, int(first)), *inner, *last))


def checks_of(node: Node | None) -> tuple[int, ...]:
    """Checks advised at some price, in the order of rising price, each once."""
    return tuple(dict.fromkeys(step for _, step in node.steps if step >= 0)) if node else ()


def walk_order(
    starts: Sequence[str], outcomes: Sequence[Sequence[str]], checks_at: Callable[[str], Iterable[int]]
) -> Iterator[str]:
    """Positions in the order in which a walk meets them: first met, first looked at.

    Parameters
    ----------
    starts
        Positions to begin with.
    outcomes
        Names of the outcomes of each check.
    checks_at
        Checks advised at a position that was met; asked after the position was given out.

    Yields
    ------
    str
        Each position once.
    """
    met = set(starts)
    waiting = deque(starts)
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
    usual = (int(table["usual"][0]), int(table["usual"][1]))
    nodes: dict[str, Node] = {}
    rows = iter(table["nodes"])
    for position in walk_order((table["start"],), table["outcomes"], lambda p: checks_of(nodes.get(p))):
        row = next(rows)
        if row is not None:
            nodes[position] = _unpacked(row, usual, table["edges"], lowest)
    return Policy(
        actions=tuple(table["actions"]),
        checks=tuple(table["checks"]),
        outcomes=tuple(tuple(names) for names in table["outcomes"]),
        nodes=nodes,
        price_range=(lowest, inf if table["to"] is None else float(table["to"])),
        from_position=table["start"],
    )


def usual_steps(policy: Policy) -> tuple[int, int]:
    """The pair of final actions that most positions have first and last."""
    counted: dict[tuple[int, int], int] = {}
    for node in policy.nodes.values():
        pair = (node.steps[0][1], node.steps[-1][1])
        if node.ceiling == node.steps[-1][0] and max(pair) < 0:
            counted[pair] = counted.get(pair, 0) + 1
    return max(counted, key=lambda pair: (counted[pair], pair)) if counted else (-1, -1)


def _short(amount: float, decimals: int) -> float | int:
    """A price as short as JSON allows."""
    rounded = round(amount, decimals)
    return int(rounded) if rounded == int(rounded) else rounded
