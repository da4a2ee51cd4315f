"""In which order to try things while the fault is not certain."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from driveout.errors import BadEntry

MOST_EXACT = 12
"""Attempts up to which every order is weighed."""
_TINY = 1e-12


@dataclass(frozen=True)
class Attempt:
    """One thing to try; whether it cured the car is seen at once.

    Parameters
    ----------
    id
        Its key.
    cost
        Money, hours at the wage, or both, in one unit. Above 0.
    cures
        For each cause it can cure, the chance that it does.
    after
        Attempts that must come first, such as opening the way; they may cure nothing themselves.
    """

    id: str
    cost: float
    cures: Mapping[str, float]
    after: tuple[str, ...] = ()


@dataclass(frozen=True)
class AttemptOrder:
    """An order of attempts and what it costs on average until the car is cured.

    Parameters
    ----------
    order
        Ids in the order of trying; it ends when nothing more can help.
    expected_cost
        Average cost until cured.
    ratio_cost
        Average cost of the simple rule: best chance per cost first.
    bound
        No order can be cheaper than this: the cost of somebody who knows the cause.
    is_exact
        Whether the order is proven best.
    method
        ``every order``, ``blocks`` or ``look ahead``.
    left_uncured
        Chance that the car is not cured by any of the attempts.
    """

    order: tuple[str, ...]
    expected_cost: float
    ratio_cost: float
    bound: float
    is_exact: bool
    method: str
    left_uncured: float

    def as_dict(self) -> dict[str, Any]:
        """JSON shape."""
        return {
            "order": list(self.order),
            "expected_cost": self.expected_cost,
            "ratio_cost": self.ratio_cost,
            "bound": self.bound,
            "is_exact": self.is_exact,
            "method": self.method,
            "left_uncured": self.left_uncured,
        }


def attempt_order(causes: Mapping[str, float], attempts: Sequence[Attempt]) -> AttemptOrder:
    """Order attempts so that the average cost until cured is least; one cause at a time.

    Up to 12 attempts every order is weighed. With more, an exact rule applies when each attempt
    cures causes of its own and has at most one attempt before it; else two steps are looked ahead.

    Parameters
    ----------
    causes
        Chance of each cause, given what is known; together at most 1.
    attempts
        What can be tried.

    Returns
    -------
    AttemptOrder
        Order, average cost and bound.

    Raises
    ------
    BadEntry
        If a chance or cost is out of range, an id is unknown, or attempts wait for each other.

    References
    ----------
    sacso-2001 for overlapping attempts; horn-1972 for blocks; heckerman-breese-rommelse-1994 for
    the ratio rule. docs/method/repairs.md.

    Examples
    --------
    >>> tries = [Attempt("A1", 1, {"a": 1, "b": 1}), Attempt("A2", 1, {"b": 1, "c": 1}),
    ...          Attempt("A3", 1, {"c": 1, "d": 1})]
    >>> attempt_order({"a": 0.2, "b": 0.25, "c": 0.4, "d": 0.15}, tries).order
    ('A3', 'A1')
    """
    job = _Attempts(causes, attempts)
    ratio = job.by_ratio()
    if len(attempts) <= MOST_EXACT:
        order, method, exact = job.by_every_order(), "every order", True
    elif job.is_forest():
        order, method, exact = job.by_blocks(), "blocks", True
    else:
        order, method, exact = job.by_look_ahead(), "look ahead", False
        if job.cost_of(ratio) < job.cost_of(order):
            order = ratio
    return AttemptOrder(
        tuple(job.names[i] for i in order),
        job.cost_of(order),
        job.cost_of(ratio),
        job.bound(),
        exact,
        method,
        job.uncured(frozenset(range(len(job.names)))),
    )


class _Attempts:
    def __init__(self, causes: Mapping[str, float], attempts: Sequence[Attempt]) -> None:
        self.names = [attempt.id for attempt in attempts]
        number = {name: i for i, name in enumerate(self.names)}
        if len(number) != len(attempts):
            raise BadEntry("An attempt stands twice.", field="attempts")
        if any(not 0 <= p <= 1 for p in causes.values()) or sum(causes.values()) > 1 + 1e-9:
            raise BadEntry(
                f"The chances of the causes add up to {sum(causes.values()):g}.",
                field="causes",
                allowed="each 0 to 1, together at most 1",
            )
        for attempt in attempts:
            if not attempt.cost > 0:
                raise BadEntry(f"{attempt.id} costs {attempt.cost:g}; it must be above 0.", field=attempt.id)
            for name in attempt.after:
                if name not in number:
                    raise BadEntry(f"{attempt.id} waits for {name!r}, which is not given.", value=name)
            for cause, chance in attempt.cures.items():
                if cause not in causes or not 0 <= chance <= 1:
                    raise BadEntry(
                        f"{attempt.id} cures {cause!r} with chance {chance:g}.",
                        field=attempt.id,
                        value=cause,
                        allowed="a given cause and a chance from 0 to 1",
                    )
        self.cost = [attempt.cost for attempt in attempts]
        self.before = [frozenset(number[name] for name in attempt.after) for attempt in attempts]
        self.prior = list(causes.values())
        self.leaves = [[1.0 - attempt.cures.get(cause, 0.0) for cause in causes] for attempt in attempts]
        self.rest = 1.0 - sum(self.prior)
        self._seen: dict[frozenset[int], float] = {}
        done: frozenset[int] = frozenset()
        while len(done) < len(self.names):
            now = frozenset(i for i in range(len(self.names)) if i not in done and self.before[i] <= done)
            if not now:
                held = ", ".join(self.names[i] for i in range(len(self.names)) if i not in done)
                raise BadEntry(f"These attempts wait for each other: {held}.", field="after", value=held)
            done |= now

    def uncured(self, tried: frozenset[int]) -> float:
        """Chance that the car is still not cured after these attempts."""
        known = self._seen.get(tried)
        if known is None:
            known = self.rest
            for c, chance in enumerate(self.prior):
                for i in tried:
                    chance *= self.leaves[i][c]
                known += chance
            self._seen[tried] = known
        return known

    def cost_of(self, order: Sequence[int]) -> float:
        tried: frozenset[int] = frozenset()
        total = 0.0
        for i in order:
            total += self.cost[i] * self.uncured(tried)
            tried |= {i}
        return total

    def ready(self, tried: frozenset[int]) -> list[int]:
        return [i for i in range(len(self.names)) if i not in tried and self.before[i] <= tried]

    def is_finished(self, tried: frozenset[int]) -> bool:
        return self.uncured(tried) <= self.uncured(frozenset(range(len(self.names)))) + _TINY

    def closed(self, i: int) -> list[int]:
        """An attempt with all that must come before it, in a working order."""
        order: list[int] = []
        todo = [i]
        while todo:
            j = todo[-1]
            missing = [k for k in sorted(self.before[j]) if k not in order]
            if missing:
                todo.append(missing[0])
            else:
                todo.pop()
                if j not in order:
                    order.append(j)
        return order

    def by_every_order(self) -> list[int]:
        memo: dict[frozenset[int], tuple[float, int]] = {}

        def least(tried: frozenset[int]) -> float:
            if self.is_finished(tried):
                return 0.0
            if tried not in memo:
                here = self.uncured(tried)
                memo[tried] = min((self.cost[i] * here + least(tried | {i}), i) for i in self.ready(tried))
            return memo[tried][0]

        tried: frozenset[int] = frozenset()
        least(tried)
        order = []
        while not self.is_finished(tried):
            i = memo[tried][1]
            order.append(i)
            tried |= {i}
        return order

    def _extend(self, tried: frozenset[int], block: Sequence[int]) -> tuple[float, float]:
        """Gain in cured chance and cost of trying a block next."""
        gain, cost, now = 0.0, 0.0, tried
        for i in block:
            cost += self.cost[i] * self.uncured(now)
            gain += self.uncured(now) - self.uncured(now | {i})
            now |= {i}
        return gain, cost

    def _greedy(self, blocks: Any) -> list[int]:
        tried: frozenset[int] = frozenset()
        order: list[int] = []
        while not self.is_finished(tried):
            best, chosen = -1.0, []
            for block in blocks(tried):
                gain, cost = self._extend(tried, block)
                rate = gain / cost if cost > 0 else 0.0
                if gain > _TINY and rate > best + _TINY:
                    best, chosen = rate, block
            for i in chosen:
                order.append(i)
                tried |= {i}
        return order

    def _single(self, tried: frozenset[int]) -> list[list[int]]:
        return [
            [j for j in self.closed(i) if j not in tried] for i in range(len(self.names)) if i not in tried
        ]

    def by_ratio(self) -> list[int]:
        """Best chance per cost first, each with whatever must come before it."""
        return self._greedy(self._single)

    def by_look_ahead(self) -> list[int]:
        def blocks(tried: frozenset[int]) -> list[list[int]]:
            singles = self._single(tried)
            pairs = [
                [*one, *(i for i in two if i not in one)]
                for one in singles
                for two in singles
                if one is not two
            ]
            return singles + pairs

        return self._greedy(blocks)

    def is_forest(self) -> bool:
        """Whether each attempt cures causes of its own and has at most one attempt before it."""
        owners = [sum(self.leaves[i][c] < 1 for i in range(len(self.names))) for c in range(len(self.prior))]
        return all(owner <= 1 for owner in owners) and all(len(before) <= 1 for before in self.before)

    def by_blocks(self) -> list[int]:
        """Merge each attempt with the one before it while its ratio is the better one (Horn)."""
        whole = self.uncured(frozenset())
        blocks = {
            i: ([i], whole - self.uncured(frozenset({i})), self.cost[i]) for i in range(len(self.names))
        }
        parent = {i: next(iter(before), -1) for i, before in enumerate(self.before)}

        def ratio(i: int) -> float:
            return blocks[i][1] / blocks[i][2]

        while True:
            # A block that is better than the one before it is never separated from it.
            better = [i for i in blocks if parent[i] != -1 and ratio(i) > ratio(parent[i])]
            if not better:
                break
            top = max(better, key=lambda i: (ratio(i), -i))
            up = parent[top]
            order, gain, cost = blocks[up]
            more, extra, price = blocks.pop(top)
            blocks[up] = (order + more, gain + extra, cost + price)
            for i in blocks:
                if parent[i] == top:
                    parent[i] = up
        order = []
        free = [i for i in blocks if parent[i] == -1]
        while free:
            best = max(free, key=lambda i: (ratio(i), -i))
            free.remove(best)
            order += blocks[best][0]
            free += [i for i in blocks if parent[i] == best]
        tried: frozenset[int] = frozenset()
        useful = []
        for i in order:
            if self.is_finished(tried):
                break
            useful.append(i)
            tried |= {i}
        return useful

    def bound(self) -> float:
        """Average cost of somebody who knows the cause and tries the cheapest cure for it."""
        total = 0.0
        for c, chance in enumerate(self.prior):
            ways = [
                sum(self.cost[j] for j in self.closed(i))
                for i in range(len(self.names))
                if self.leaves[i][c] < 1
            ]
            total += chance * min(ways, default=0.0)
        return total
