"""The policy written as small as a phone can still walk it: the table inside the viewing sheet.

What repeats stands together: all steps in one text, all distances between prices in another,
all ceilings as differences from the position before. Nothing is left out; only prices are
rounded to whole units of money, as in `policy.as_table`, which is the form for people and programs.
"""

import re
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import floor, inf, isfinite
from typing import Any

from driveout.viewing.policy import DIGITS, Node, Policy, checks_of, children, usual_steps, walk_order

SIGNS = DIGITS + DIGITS[10:].upper() + "-_"
BASE = len(SIGNS)
ACTIONS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
STOPS_HERE, GOES_ON = ".", "+"
WORD = re.compile(r"[~_!]|(?:[0-9a-z](?!\.)|[A-Z]\+)*(?:[A-Z]|[0-9a-z]\.)")
SIGN = re.compile(r"[0-9a-zA-Z]")
WALK_AT_ANY_PRICE, NOT_THERE, WRITTEN_OUT = "~", "_", "!"


@dataclass
class _Columns:
    """What is written, in the order of the walk."""

    edges: list[int]
    steps: list[str] = field(default_factory=list)
    gaps: list[str] = field(default_factory=list)
    limits: list[int] = field(default_factory=list)
    stops: list[int] = field(default_factory=list)
    odd: list[Any] = field(default_factory=list)


def packed(policy: Policy, starts: Sequence[str] = ()) -> dict[str, Any]:
    """The advice of a policy, small.

    Parameters
    ----------
    policy
        The policy.
    starts
        Positions that the walk begins from, in this order; that of the policy if left out.

    Returns
    -------
    dict[str, Any]
        JSON-able. ``edges``: prices at which the next check changes. ``steps``: per position, in
        the order of the walk (`walk_order`), the steps from the highest price down: the sign of a
        check (0-9, a-z) or of a final action (A, B, ...). A position ends with its first final
        action, or with a check that ``.`` follows; ``+`` after a final action says that it does
        not end. ``~`` stands for walking at any price, ``_`` for an outcome that cannot happen,
        ``!`` for a position written out in ``odd``. Walking from the ceiling on is left out.
        ``gaps``: per step but the lowest, how many edges its price lies below the last edge that
        is left. ``limits``: ceilings as differences from the position that first leads here.
        ``stops``: per position with a check, what the ceiling without any check is less than the
        ceiling. Numbers are written in signs of 64, the highest first (``digits``), above ``least``.
    """
    starts = starts or (policy.from_position or policy.start,)
    last = usual_steps(policy)[1]
    found = [(place, policy.nodes.get(place), before) for place, before in _walk(policy, starts)]
    inner = {round(price) for _, node, _ in found if node for price, _ in _inner(node, last)}
    columns = _Columns(sorted(inner))
    for _, node, before in found:
        _write(columns, node, _ceiling(policy.nodes.get(before)), last)
    return {
        "last": last,
        "edges": columns.edges,
        "steps": "".join(columns.steps),
        "gaps": "".join(columns.gaps),
        "limits": _digits(columns.limits),
        "stops": _digits(columns.stops),
        "odd": columns.odd,
    }


def _walk(policy: Policy, starts: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Positions in order, each with the one that first leads to it (empty for the starts)."""
    before = dict.fromkeys(starts, "")
    for place in walk_order(starts, policy.outcomes, lambda place: checks_of(policy.nodes.get(place))):
        yield place, before[place]
        for check in checks_of(policy.nodes.get(place)):
            for child in children(place, check, len(policy.outcomes[check])):
                before.setdefault(child, place)


def _ceiling(node: Node | None) -> int:
    return round(node.ceiling) if node and node.ceiling is not None and isfinite(node.ceiling) else 0


def _ends_as_usual(node: Node, last: int) -> bool:
    return len(node.steps) > 1 and node.steps[-1] == (node.ceiling, last)


def _inner(node: Node, last: int) -> tuple[tuple[float, int], ...]:
    return node.steps[1:-1] if _ends_as_usual(node, last) else ()


def _write(columns: _Columns, node: Node | None, before: int, last: int) -> None:
    if node is None:
        columns.steps.append(NOT_THERE)
        return
    if node.ceiling is None and len(node.steps) == 1 and node.steps[0][1] == last:
        columns.steps.append(WALK_AT_ANY_PRICE)
        return
    gaps = _gaps(columns.edges, node, last) if _ends_as_usual(node, last) else None
    if gaps is None:
        columns.steps.append(WRITTEN_OUT)
        columns.odd.append(_written_out(node))
        return
    columns.steps += [_sign(step, at == 0) for at, (_, step) in reversed(list(enumerate(node.steps[:-1])))]
    columns.gaps += [SIGNS[gap] for gap in gaps]
    columns.limits.append(_ceiling(node) - before)
    if checks_of(node):
        columns.stops.append(_ceiling(node) - _whole(node.stop))


def _gaps(edges: list[int], node: Node, last: int) -> list[int] | None:
    """Places of the inner prices, counted down from the ceiling; None if they cannot be written so."""
    left = bisect_right(edges, _ceiling(node))
    gaps = []
    for price, _ in reversed(_inner(node, last)):
        place = bisect_right(edges, round(price)) - 1
        gaps.append(left - 1 - place)
        left = place
    return gaps if all(0 <= gap < BASE for gap in gaps) else None


def _sign(step: int, is_lowest: bool) -> str:
    if step < 0:
        return ACTIONS[-1 - step] + ("" if is_lowest else GOES_ON)
    return DIGITS[step] + (STOPS_HERE if is_lowest else "")


def _written_out(node: Node) -> dict[str, Any]:
    ceiling = None if node.ceiling is None else round(node.ceiling) if isfinite(node.ceiling) else "any"
    return {
        "ceiling": ceiling,
        "steps": [[round(price) if at else None, step] for at, (price, step) in enumerate(node.steps)],
        "stop": _whole(node.stop),
    }


def _whole(amount: float | None) -> int:
    """A ceiling without checks in whole units, never too high and never below 0."""
    return 0 if amount is None else max(0, floor(min(amount, 1e12)))


def _digits(numbers: list[int]) -> dict[str, Any]:
    least = min(numbers, default=0)
    over = [number - least for number in numbers]
    width = 1
    while max(over, default=0) >= BASE**width:
        width += 1
    return {
        "least": least,
        "digits": [
            "".join(SIGNS[number // BASE**place % BASE] for number in over)
            for place in reversed(range(width))
        ],
    }


def unpacked(
    table: Mapping[str, Any], outcomes: Sequence[Sequence[str]], starts: Sequence[str], lowest: float
) -> dict[str, Node]:
    """The positions of a packed policy; `sheet.js` reads it in the same way.

    Parameters
    ----------
    table
        What ``packed`` made.
    outcomes
        Per check the names of its outcomes.
    starts
        Positions that the walk began from.
    lowest
        Least price of the policy. [money]

    Returns
    -------
    dict[str, Node]
        Position to advice, prices in whole units.
    """
    nodes: dict[str, Node] = {}
    before = dict.fromkeys(starts, "")
    words, gaps, odd = iter(WORD.findall(table["steps"])), iter(table["gaps"]), iter(table["odd"])
    limits, stops = iter(_numbers(table["limits"])), iter(_numbers(table["stops"]))
    for place in walk_order(starts, outcomes, lambda place: checks_of(nodes.get(place))):
        word = next(words)
        if word == WALK_AT_ANY_PRICE:
            nodes[place] = Node(None, ((lowest, table["last"]),))
        elif word == WRITTEN_OUT:
            nodes[place] = _read_out(next(odd), lowest)
        elif word != NOT_THERE:
            ceiling = _ceiling(nodes.get(before[place])) + next(limits)
            found: list[tuple[float, int]] = [(float(ceiling), table["last"])]
            left, steps = bisect_right(table["edges"], ceiling), [_step(sign) for sign in SIGN.findall(word)]
            for step in steps[:-1]:
                left -= 1 + SIGNS.index(next(gaps))
                found.append((float(table["edges"][left]), step))
            found.append((lowest, steps[-1]))
            stop = ceiling - next(stops) if max(steps) >= 0 else None
            nodes[place] = Node(float(ceiling), tuple(reversed(found)), None if stop is None else float(stop))
        for check in checks_of(nodes.get(place)):
            for child in children(place, check, len(outcomes[check])):
                before.setdefault(child, place)
    return nodes


def _step(sign: str) -> int:
    return -1 - ACTIONS.index(sign) if sign in ACTIONS else DIGITS.index(sign)


def _read_out(row: Mapping[str, Any], lowest: float) -> Node:
    ceiling = row["ceiling"]
    limit = None if ceiling is None else inf if ceiling == "any" else float(ceiling)
    steps = tuple((lowest if price is None else float(price), int(step)) for price, step in row["steps"])
    return Node(limit, steps, float(row["stop"]))


def _numbers(column: Mapping[str, Any]) -> list[int]:
    numbers = []
    for signs in zip(*column["digits"], strict=True):
        number = 0
        for sign in signs:
            number = number * BASE + SIGNS.index(sign)
        numbers.append(number + int(column["least"]))
    return numbers
