"""Sums over drawn fault sets, for what is not a sum over faults."""

from collections.abc import Mapping

import numpy as np

from driveout.faults import Compiled
from driveout.viewing.fault_kernel import Floats, Ints
from driveout.viewing.fault_sums import evidence_rows
from driveout.viewing.fault_viewing import DrawnWorth, FaultViewing

# Below so many products the threads of a matrix product cost more than they save.
SMALL = 8_000_000


def drawn_sums(viewing: FaultViewing, drawn: DrawnWorth, columns: Floats) -> Floats:
    """Sums over the draws, each weighted with its chance of every cumulative outcome of all checks.

    The table over all outcomes is one matrix product of the first half of the checks with the
    second.

    Parameters
    ----------
    viewing
        The viewing.
    drawn
        The draws.
    columns
        What is summed. (N, w)

    Returns
    -------
    Floats
        (positions, w), over the outcomes of all findings; the last outcome of each is not done.
    """
    findings = [finding for check in viewing.checks for finding in check.findings]
    for finding in findings:
        if finding not in drawn.below:
            drawn.below[finding] = _below(viewing.compiled, drawn.columns, finding)
    half = len(findings) // 2
    first = _together([drawn.below[finding] for finding in findings[:half]], len(drawn.states))
    second = _together([drawn.below[finding] for finding in findings[half:]], len(drawn.states))
    width = columns.shape[1]
    weighted = (second[:, :, None] * columns[:, None, :]).reshape(len(columns), -1)
    sums: Floats
    if first.size * weighted.shape[1] < SMALL:
        sums = np.einsum("na,nb->ab", first, weighted)
    else:
        sums = first.T @ weighted
    return sums.reshape(-1, width)


def _together(tables: list[Floats], draws: int) -> Floats:
    likely = np.ones((draws, 1))
    for table in tables:
        likely = (likely[:, :, None] * table[:, None, :]).reshape(draws, -1)
    return likely


def _below(compiled: Compiled, columns: Ints, finding: str) -> Floats:
    """Chance that a finding shows each outcome or a better one, in each draw."""
    weight = compiled.world_weight / compiled.world_weight.sum()
    outcomes = compiled.network.finding[finding].outcomes
    below = np.ones((len(columns), len(outcomes)))
    for x, outcome in enumerate(outcomes[:-1]):
        code = compiled.code[finding, outcome]
        upper = compiled.upper[code]
        touched = np.flatnonzero(np.minimum.reduceat(upper, compiled.start[:-1]) < 1.0)
        below[:, x] = (weight @ compiled.leak_upper[:, code]) * upper[columns[:, touched]].prod(axis=1)
    return below


def drawn_columns(
    compiled: Compiled, evidence: Mapping[str, str], states: Ints, rng: np.random.Generator
) -> Ints:
    """Inner columns for drawn states: how each fault shows, and which look-alikes are about.

    Parameters
    ----------
    compiled
        The fault network.
    evidence
        What the states were drawn from.
    states
        State of every cause in each draw. (N, causes)
    rng
        Source of randomness.

    Returns
    -------
    Ints
        (N, inner causes). Within a state by what the plain negatives among the evidence leave
        of each part; positive findings are left aside for this.
    """
    folded, _ = evidence_rows(compiled, tuple(sorted(evidence.items())))
    share = (folded.scale / folded.scale.sum()) @ folded.base
    columns = np.zeros((len(states), len(compiled.start) - 1), dtype=np.int64)
    for i in range(columns.shape[1]):
        mine = np.arange(compiled.start[i], compiled.start[i + 1])
        own = i < states.shape[1]
        state = (
            compiled.public[mine] - compiled.public_start[i] if own else np.zeros(len(mine), dtype=np.int64)
        )
        for number in np.unique(state):
            rows = np.flatnonzero(states[:, i] == number) if own else np.arange(len(states))
            parts = mine[state == number]
            reached = np.cumsum(share[parts])
            if reached[-1] > 0.0 and len(parts) > 1:
                columns[rows, i] = parts[
                    np.searchsorted(reached, rng.random(len(rows)) * reached[-1], side="right")
                ]
            else:
                columns[rows, i] = parts[0]
    return columns


def drawn_with_any(compiled: Compiled, states: Ints, faults: frozenset[str]) -> Floats:
    """1 for each draw in which any of these faults is there, else 0."""
    there = np.zeros(len(states), dtype=bool)
    for i, cause in enumerate(compiled.network.causes):
        for number, state in enumerate(cause.states, start=1):
            if cause.fault_of(state) in faults:
                there |= states[:, i] == number
    return there.astype(float)


def limits(loss: Floats, prices: Floats, most: float) -> Floats:
    """Highest price at which a loss is no likelier than permitted, per position.

    Parameters
    ----------
    loss
        Chance of a loss at each price. (positions, G)
    prices
        Rising prices. [money] (G,)
    most
        Greatest chance permitted.

    Returns
    -------
    Floats
        Between two prices on the straight line between their chances; minus infinity if even
        the lowest price is too dear, infinite if the highest is not.
    """
    fits = (loss <= most + 1e-12).cumprod(axis=1).sum(axis=1).astype(np.int64)
    rows = np.arange(len(loss))
    before, after = np.maximum(fits - 1, 0), np.minimum(fits, len(prices) - 1)
    rise = loss[rows, after] - loss[rows, before]
    part = np.divide(most - loss[rows, before], rise, out=np.zeros(len(loss)), where=rise > 0.0)
    limit = prices[before] + np.clip(part, 0.0, 1.0) * (prices[after] - prices[before])
    return np.where(fits == 0, -np.inf, np.where(fits == len(prices), np.inf, limit))
