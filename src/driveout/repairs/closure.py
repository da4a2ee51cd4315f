"""Best set that is closed under its needs: each thing taken brings everything it needs with it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from driveout.errors import BadEntry


def best_closure(weights: Sequence[int], needs: Iterable[tuple[int, int]]) -> tuple[int, frozenset[int]]:
    """Find the closed set of greatest total weight, by one minimum cut.

    Parameters
    ----------
    weights
        Worth of each node, negative for a cost. Whole numbers.
    needs
        Pairs ``(node, needed node)``.

    Returns
    -------
    tuple
        The greatest weight and the smallest set that has it; 0 and the empty set if nothing pays.

    Raises
    ------
    BadEntry
        If a pair names a node that does not exist.

    References
    ----------
    picard-1976.

    Examples
    --------
    >>> best_closure([100, 200, 150, -200, -100, -50], [(0, 3), (0, 4), (1, 4), (2, 5)])
    (200, frozenset({1, 2, 4, 5}))
    """
    from ortools.graph.python import max_flow

    worth = np.asarray(weights, dtype=np.int64)
    count = len(worth)
    arcs = np.asarray(list(needs), dtype=np.int64).reshape(-1, 2)
    if len(arcs) and (arcs.min() < 0 or arcs.max() >= count):
        raise BadEntry(f"A need names a node outside 0 to {count - 1}.", field="needs", value=int(arcs.max()))
    gains = np.flatnonzero(worth > 0)
    costs = np.flatnonzero(worth < 0)
    total = int(worth[gains].sum())
    if not total:
        return 0, frozenset()
    source, sink = count, count + 1
    # The last arc carries nothing; it makes the sink known when nothing costs anything.
    tails = np.concatenate([np.full(len(gains), source), costs, arcs[:, 0], [source]]).astype(np.int32)
    heads = np.concatenate([gains, np.full(len(costs), sink), arcs[:, 1], [sink]]).astype(np.int32)
    room = np.concatenate([worth[gains], -worth[costs], np.full(len(arcs), total + 1), [0]])
    flow = max_flow.SimpleMaxFlow()
    flow.add_arcs_with_capacity(tails, heads, room)
    if flow.solve(source, sink) != flow.OPTIMAL:
        raise BadEntry(
            "The weights are too large to add up. Use whole minor units of money.", field="weights"
        )
    taken = frozenset(int(node) for node in flow.get_source_side_min_cut() if node < count)
    return total - int(flow.optimal_flow()), taken
