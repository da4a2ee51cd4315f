"""Least effort to get at something: what must come off, and in which order.

An item (a fastener, a part, a step) can be released once each of its needs is met, and a need
is met by any one of its alternatives. The least-cost set is found exactly. Formulas and proof
sketch: docs/method/strip.md.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from math import prod

from driveout.errors import BadEntry, CannotSay

MOST_BRANCHES = 1500
"""Ways that are tried one by one; above it the integer programme is called, whose import takes long."""

Needs = tuple[tuple[tuple[str, ...], ...], ...]
_Clauses = dict[int, list[list[int]]]


@dataclass(frozen=True)
class AccessItem:
    """One thing to release.

    Parameters
    ----------
    id
        Its name in the graph.
    cost
        Effort to release and to refit it, 0 or more. [min]
    needs
        All of these must be met first. Each need lists alternatives, each alternative lists
        items that must all be released: ``((("a",), ("b", "c")),)`` reads "a, or b and c".
    """

    id: str
    cost: float
    needs: Needs = ()


@dataclass(frozen=True)
class Release:
    """The least-cost way to release the targets.

    Parameters
    ----------
    order
        Items in an order in which they can be released.
    because
        For each item the items it waits for, one alternative per need.
    cost
        Sum of the item costs. [min]
    is_proven
        Whether the least cost is proven.
    """

    order: tuple[str, ...]
    because: Mapping[str, tuple[str, ...]]
    cost: float
    is_proven: bool


def least_release(
    items: Mapping[str, AccessItem], targets: Sequence[str], *, seconds: float = 10.0
) -> Release:
    """Find the cheapest set of items that releases all targets, with an order for it.

    Exact. Where only one way exists the closure of the needs is the answer and no solver runs;
    else an integer programme chooses among the alternatives, with order variables only between
    items that can hold each other.

    Parameters
    ----------
    items
        The access graph by id.
    targets
        Ids to release.
    seconds
        Longest time for the proof; past it the best set found is given as not proven. [s]

    Returns
    -------
    Release
        Set, order, reasons and cost.

    Raises
    ------
    BadEntry
        If a target or a need names an item that does not exist, or a cost is below 0.
    CannotSay
        If a target cannot be released; the message names the items that hold each other.

    References
    ----------
    own-reasoning, docs/method/strip.md; goldwasser-motwani-1999 for the hardness.

    Examples
    --------
    >>> graph = {"lid": AccessItem("lid", 2.0), "hatch": AccessItem("hatch", 5.0),
    ...          "pump": AccessItem("pump", 1.0, ((("lid",), ("hatch",)),))}
    >>> least_release(graph, ["pump"]).order
    ('lid', 'pump')
    """
    graph = _Graph(items, targets)
    wanted = [graph.number[target] for target in targets]
    graph.keep_releasable(wanted)
    forced = graph.forced(wanted)
    settled = graph.chain(forced)
    chosen = set(forced)
    proven = True
    if settled != forced:
        extra, proven = _solve(graph, forced, settled, seconds)
        chosen |= extra
    return graph.answer(graph.without_idle(chosen, forced), wanted, proven)


def releasable(items: Mapping[str, AccessItem]) -> frozenset[str]:
    """Everything that can be released in some order; what is left out is held for ever."""
    graph = _Graph(items, ())
    return frozenset(graph.names[i] for i in graph.chain(range(len(graph.cost))) if i < len(graph.names))


class _Graph:
    """The graph in whole numbers; alternatives of several items become helper items of no cost."""

    def __init__(self, items: Mapping[str, AccessItem], targets: Iterable[str]) -> None:
        self.names = list(items)
        self.number = {name: i for i, name in enumerate(self.names)}
        self.cost: list[float] = [item.cost for item in items.values()]
        self.clauses: _Clauses = {}
        for target in targets:
            if target not in items:
                raise BadEntry(
                    f"There is no {target!r} to get at.",
                    field="target",
                    value=target,
                    allowed=_some(items),
                )
        for i, item in enumerate(items.values()):
            if not item.cost >= 0:
                raise BadEntry(
                    f"{item.id} has effort {item.cost}; it must be 0 or more.", field=item.id, value=item.cost
                )
            self.clauses[i] = [self._clause(i, need) for need in item.needs]

    def _clause(self, i: int, need: tuple[tuple[str, ...], ...]) -> list[int]:
        clause: list[int] = []
        for alternative in need:
            members = []
            for name in alternative:
                if name not in self.number:
                    raise BadEntry(
                        f"{self.names[i]} needs {name!r}, which does not exist.",
                        field=self.names[i],
                        value=name,
                    )
                members.append(self.number[name])
            if len(members) == 1:
                number = members[0]
            else:
                number = len(self.cost)
                self.cost.append(0.0)
                self.clauses[number] = [[member] for member in members]
            if number != i and number not in clause:
                clause.append(number)
        return clause

    def keep_releasable(self, wanted: Sequence[int]) -> None:
        """Drop what the targets never lead to and what can never be released."""
        near = _reach(wanted, self.clauses)
        loose = self.chain(near)
        stuck = [t for t in wanted if t not in loose]
        if stuck:
            raise self._blocked(stuck, loose)
        self.clauses = {i: [[a for a in clause if a in loose] for clause in self.clauses[i]] for i in loose}

    def _blocked(self, stuck: Sequence[int], loose: set[int]) -> CannotSay:
        held = {
            i: [
                [a for a in clause if a not in loose]
                for clause in clauses
                if not any(a in loose for a in clause)
            ]
            for i, clauses in self.clauses.items()
            if i not in loose
        }
        near = _reach(stuck, held)
        blocks = [
            sorted(self.names[i] for i in part if i < len(self.names))
            for part in strong_parts({i: [a for clause in held.get(i, ()) for a in clause] for i in near})
            if len(part) > 1
        ]
        targets = ", ".join(self.names[i] for i in stuck)
        holders = sorted(block for block in blocks if block)
        if holders:
            story = "; ".join(_circle(block) for block in holders)
            return CannotSay(
                f"{targets} cannot be got at: {story}. Change one of their needs.",
                missing="; ".join(", ".join(block) for block in holders),
            )
        ends = sorted(
            self.names[i] for i in near if i < len(self.names) and any(not c for c in held.get(i, ()))
        )
        return CannotSay(
            f"{targets} cannot be got at: {', '.join(ends)} can never be released.", missing=", ".join(ends)
        )

    def forced(self, wanted: Sequence[int]) -> set[int]:
        """Items that stand in every answer: the targets and whatever is the only way."""
        found = set(wanted)
        todo = list(found)
        while todo:
            for clause in self.clauses[todo.pop()]:
                if len(clause) == 1 and clause[0] not in found:
                    found.add(clause[0])
                    todo.append(clause[0])
        return found

    def chain(self, allowed: Iterable[int]) -> set[int]:
        """Items that can be released when only ``allowed`` items may be touched."""
        return set(self._ordered(set(allowed)))

    def _ordered(self, allowed: set[int]) -> list[int]:
        # Counters per need, one heap for the file order: linear but for the heap.
        waiting: dict[int, int] = {}
        opens: dict[int, list[tuple[int, int]]] = {}
        ready = []
        for i in allowed:
            waiting[i] = len(self.clauses[i])
            if not waiting[i]:
                ready.append(i)
            for c, clause in enumerate(self.clauses[i]):
                for a in clause:
                    if a in allowed:
                        opens.setdefault(a, []).append((i, c))
        heapify(ready)
        order: list[int] = []
        met: set[tuple[int, int]] = set()
        while ready:
            i = heappop(ready)
            order.append(i)
            for need in opens.get(i, ()):
                if need not in met:
                    met.add(need)
                    waiting[need[0]] -= 1
                    if not waiting[need[0]]:
                        heappush(ready, need[0])
        return order

    def without_idle(self, chosen: set[int], forced: set[int]) -> set[int]:
        """Leave out what costs nothing and is not needed either."""
        helpers = {i for i in self.clauses if i >= len(self.names)}
        left = chosen - helpers
        idle = [i for i in sorted(left - forced, reverse=True) if self.cost[i] == 0]
        dropped = True
        while dropped:
            dropped = False
            for i in idle:
                less = left - {i}
                if i in left and less <= self.chain(less | helpers):
                    left = less
                    dropped = True
        return left | helpers

    def answer(self, chosen: set[int], wanted: Sequence[int], proven: bool) -> Release:
        """Trace back from the targets, so that nothing needless stays in the answer."""
        order = self._ordered(chosen)
        place = {i: n for n, i in enumerate(order)}
        support: dict[int, list[int]] = {}
        todo = list(wanted)
        while todo:
            i = todo.pop()
            if i in support:
                continue
            support[i] = [
                min((a for a in clause if a in place and place[a] < place[i]), key=place.__getitem__)
                for clause in self.clauses[i]
            ]
            todo.extend(support[i])
        names = self.names
        kept = [i for i in order if i in support and i < len(names)]
        because = {
            names[i]: tuple(dict.fromkeys(names[a] for s in support[i] for a in self._plain(s, support)))
            for i in kept
        }
        return Release(tuple(names[i] for i in kept), because, sum(self.cost[i] for i in kept), proven)

    def _plain(self, i: int, support: Mapping[int, list[int]]) -> list[int]:
        return [i] if i < len(self.names) else support[i]


def _reach(start: Iterable[int], clauses: Mapping[int, list[list[int]]]) -> set[int]:
    seen = set(start)
    todo = list(seen)
    while todo:
        for clause in clauses.get(todo.pop(), ()):
            for a in clause:
                if a not in seen:
                    seen.add(a)
                    todo.append(a)
    return seen


def _circle(block: Sequence[str]) -> str:
    if len(block) == 2:
        return f"{block[0]} and {block[1]} each wait for the other"
    return f"{', '.join(block)} wait for one another in a circle"


def _some(items: Mapping[str, AccessItem]) -> str:
    names = list(items)
    return ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")


def strong_parts(arcs: Mapping[int, Sequence[int]]) -> list[list[int]]:
    """Strongly connected parts of a graph, without recursion.

    Parameters
    ----------
    arcs
        Successors of each node; successors that are not keys are ignored.

    Returns
    -------
    list
        Parts, each a list of nodes; a part comes after the parts it leads to.

    References
    ----------
    tarjan-1972.
    """
    index: dict[int, int] = {}
    low: dict[int, int] = {}
    on_stack: set[int] = set()
    stack: list[int] = []
    parts: list[list[int]] = []
    for root in arcs:
        if root in index:
            continue
        work = [(root, iter(arcs[root]))]
        index[root] = low[root] = len(index)
        stack.append(root)
        on_stack.add(root)
        while work:
            node, successors = work[-1]
            for other in successors:
                if other not in arcs:
                    continue
                if other not in index:
                    index[other] = low[other] = len(index)
                    stack.append(other)
                    on_stack.add(other)
                    work.append((other, iter(arcs[other])))
                    break
                if other in on_stack:
                    low[node] = min(low[node], index[other])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[node])
                if low[node] == index[node]:
                    cut = stack.index(node)
                    parts.append(stack[cut:])
                    on_stack.difference_update(stack[cut:])
                    del stack[cut:]
    return parts


def _solve(graph: _Graph, forced: set[int], settled: set[int], seconds: float) -> tuple[set[int], bool]:
    """Choose among the alternatives that the forced items leave open."""
    # A need met by a settled item is met in every answer, with an order that works.
    left = {
        i: [clause for clause in clauses if not any(a in settled for a in clause)]
        for i, clauses in graph.clauses.items()
        if i not in settled
    }
    start = [i for i in forced if i not in settled]
    near = sorted(_reach(start, left))
    if prod(len(clause) for i in near for clause in left[i]) <= MOST_BRANCHES:
        return _by_branching(graph, left, start, settled), True
    return _by_programme(graph, left, near, forced, seconds)


def _by_branching(graph: _Graph, left: _Clauses, start: Sequence[int], settled: set[int]) -> set[int]:
    """Try every way through the open needs, one after the other."""
    best: list[tuple[float, set[int]]] = []

    def closed(taken: set[int], fresh: Iterable[int]) -> tuple[set[int], list[list[int]]]:
        added: set[int] = set()
        more: list[list[int]] = []
        todo = list(fresh)
        while todo:
            i = todo.pop()
            if i not in taken and i not in added:
                added.add(i)
                todo.extend(clause[0] for clause in left[i] if len(clause) == 1)
                more.extend(clause for clause in left[i] if len(clause) > 1)
        return added, more

    def go(taken: set[int], open_needs: list[list[int]], cost: float) -> None:
        if best and cost >= best[0][0]:
            return
        if open_needs:
            for a in open_needs[0]:
                added, more = closed(taken, [a])
                go(taken | added, open_needs[1:] + more, cost + sum(graph.cost[i] for i in added))
        elif taken <= graph.chain(settled | taken):
            best[:] = [(cost, taken)]

    added, more = closed(set(), start)
    go(added, more, sum(graph.cost[i] for i in added))
    return best[0][1]


def _by_programme(
    graph: _Graph, left: _Clauses, near: Sequence[int], forced: set[int], seconds: float
) -> tuple[set[int], bool]:
    """Choose among the alternatives with an integer programme."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    arcs = {i: [a for clause in left[i] for a in clause] for i in near}
    part_of: dict[int, int] = {}
    size: dict[int, int] = {}
    for n, part in enumerate(strong_parts(arcs)):
        for i in part:
            part_of[i] = n
            size[i] = len(part)
    taken = {i: (model.new_constant(1) if i in forced else model.new_bool_var("")) for i in near}
    place = {i: model.new_int_var(0, size[i] - 1, "") for i in near if size[i] > 1}
    for i in near:
        for clause in left[i]:
            ways = []
            for a in clause:
                if part_of[a] != part_of[i]:
                    ways.append(taken[a])
                    continue
                way = taken[i] if len(clause) == 1 else model.new_bool_var("")
                if len(clause) > 1:
                    model.add_implication(way, taken[a])
                model.add(place[i] >= place[a] + 1).only_enforce_if(way)
                ways.append(taken[a] if len(clause) == 1 else way)
            model.add_bool_or([taken[i].negated(), *ways])
    # Hundredths of a minute: finer than anyone can time a bolt.
    price = {i: round(graph.cost[i] * 100) for i in near if i not in forced}
    model.minimize(sum(price[i] * taken[i] for i in price if price[i]))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.cp_model_probing_level = 0
    # Measured: with the full relaxation 1000 items take 0.03 s, without it up to 10 s.
    solver.parameters.linearization_level = 2
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise CannotSay(f"No order was found within {seconds:g} s.", missing="time")
    return {i for i in near if solver.boolean_value(taken[i])}, status == cp_model.OPTIMAL
