"""The three sums behind a plan over faults, in plain NumPy.

1. ``negatives``: chance and expected cost of every *cumulative* outcome, "check k shows
   outcome x or a better one", for all checks together. These are products over the causes,
   so each costs one pass (2^K passes for K two-way checks, not 3^K).
2. ``spread``: single outcomes by subtraction, ``P(x) = P(x or better) - P(better)``, beside
   "not done".
3. ``best_from``: dynamic programme from all-done back to the start.

`fault_kernel_fast` does the same compiled; both give the same numbers and tests compare them.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BUY = -1
WALK = -2
# A check must gain more than this share of a unit of money, else stopping is as good.
LEAST_GAIN = 1e-11
# Floats held at once while working through the signed terms.
CHUNK = 4_000_000


@dataclass(frozen=True, eq=False)
class Sums:
    """Signed products ready for `negatives`; ``T`` terms, ``Q`` columns, ``K`` checks.

    Causes are sorted by the last check that touches them, latest first, and those that no
    check touches are folded into ``weight`` and ``cost_so_far`` already.

    Parameters
    ----------
    weight
        Sign and size of each term. (T,)
    cost_so_far
        Expected cost of the causes folded away. [money] (T,)
    base
        Weight of each column of each term. (T, Q)
    cost
        Cost of the state behind each column. [money] (Q,)
    start
        Offsets of the causes in the columns. (n + 1,)
    open_before
        Number of causes that check k or a later one touches. (K + 1,)
    factor
        Chance that a column alone leaves check k at outcome x or better. (K, L, Q)
    leak
        The same when no cause is there. (T, K, L)
    levels
        Number of outcomes of each check. (K,)
    """

    weight: Floats
    cost_so_far: Floats
    base: Floats
    cost: Floats
    start: Ints
    open_before: Ints
    factor: Floats
    leak: Floats
    levels: Ints


@dataclass(frozen=True, eq=False)
class Rules:
    """What checks cost and when they may be done.

    Parameters
    ----------
    price_of_check
        Money and own time. [money] (K,)
    lose_deal
        Chance of losing the deal over it. (K,)
    open_after
        Bit k is set if check k may follow when the checks in the index are done. (2^K,)
    needs
        Bit x of ``needs[k, j]`` is set if check k may be done while check j stands at digit x
        (0 undone, then the outcomes). (K, K)
    """

    price_of_check: Floats
    lose_deal: Floats
    open_after: Ints
    needs: Ints


def negatives(sums: Sums) -> tuple[Floats, Floats]:
    """Chance and expected cost mass of every cumulative outcome.

    Parameters
    ----------
    sums
        Signed products.

    Returns
    -------
    tuple[Floats, Floats]
        Flat over ``levels`` in C order; the last level of a check stands for not done.
    """
    size = int(np.prod(sums.levels))
    chance, spent = np.zeros(size), np.zeros(size)
    step = max(1, CHUNK // (size * max(1, int(sums.start[-1]) // 4)))
    for low in range(0, len(sums.weight), step):
        rows = slice(low, low + step)
        z, a = _terms(sums, rows)
        weighted = sums.weight[rows, None] * z
        chance += weighted.sum(axis=0)
        spent += (weighted * a).sum(axis=0)
    return chance, spent


def _terms(sums: Sums, rows: slice) -> tuple[Floats, Floats]:
    """Per term the product over the causes and the sum of their expected costs."""
    inside = sums.base[rows][:, None, :]
    z = np.ones((len(inside), 1))
    a = sums.cost_so_far[rows][:, None]
    for k, levels in enumerate(sums.levels):
        columns = int(sums.start[sums.open_before[k]])
        inside = inside[:, :, :columns]
        inside = (inside[:, :, None, :] * sums.factor[k, :levels, :columns]).reshape(len(inside), -1, columns)
        z = (z[:, :, None] * sums.leak[rows, None, k, :levels]).reshape(len(z), -1)
        a = np.repeat(a, levels, axis=1)
        for cause in range(int(sums.open_before[k + 1]), int(sums.open_before[k])):
            mine = slice(int(sums.start[cause]), int(sums.start[cause + 1]))
            total = inside[:, :, mine].sum(axis=2)
            money = inside[:, :, mine] @ sums.cost[mine]
            z = z * total
            a = a + np.divide(money, total, out=np.zeros_like(total), where=total > 0.0)
    return z, a


def spread(cumulative: Floats, levels: Ints, width: int = 1) -> Floats:
    """Single outcomes beside "not done", from cumulative outcomes.

    Parameters
    ----------
    cumulative
        Flat over ``levels``.
    levels
        Number of outcomes of each check.
    width
        Numbers kept together per position.

    Returns
    -------
    Floats
        Flat over ``levels + 1``; digit 0 is undone, digit x + 1 is outcome x.
    """
    result = cumulative
    after = width
    for count in levels[::-1]:
        before = result.reshape(-1, int(count), after)
        result = np.empty((len(before), int(count) + 1, after))
        result[:, 0] = before[:, -1]
        result[:, 1] = before[:, 0]
        np.subtract(before[:, 1:], before[:, :-1], out=result[:, 2:])
        after *= int(count) + 1
    return result.ravel()


def strides(levels: Ints) -> Ints:
    """Step of the flat index per digit of each check."""
    sizes = np.append(levels[1:] + 1, 1)
    return np.cumprod(sizes[::-1])[::-1].astype(np.int64)


def best_from(
    chance: Floats, worth: Floats, price: float, levels: Ints, rules: Rules, most: Floats
) -> tuple[Floats, NDArray[np.int8]]:
    """Value and best step of every position at one price.

    Parameters
    ----------
    chance
        Chance of each position.
    worth
        Chance times expected worth of each position. [money]
    price
        Price asked. [money]
    levels
        Number of outcomes of each check.
    rules
        Costs and order of the checks.
    most
        Highest price at which buying is permitted, per position; one number if there is no
        such rule. [money]

    Returns
    -------
    tuple[Floats, NDArray[np.int8]]
        Value times chance [money], and the step (a check, ``BUY`` or ``WALK``), flat.
    """
    steps = strides(levels)
    places = np.arange(len(chance))
    digits = [
        (places // stride % (int(count) + 1)).astype(np.int8)
        for stride, count in zip(steps, levels, strict=True)
    ]
    done = np.zeros(len(chance), dtype=np.int64)
    for k, digit in enumerate(digits):
        done |= (digit > 0).astype(np.int64) << k
    number_done = np.bitwise_count(done)
    buying = np.where(price <= most, worth - price * chance, -np.inf)
    value = np.maximum(buying, 0.0)
    step = np.where(buying > 0.0, BUY, WALK).astype(np.int8)
    # A position only leads to positions with one more check done, so whole layers go at once.
    for layer in range(len(levels) - 1, -1, -1):
        here = np.flatnonzero(number_done == layer)
        choices = rules.open_after[done[here]] & ~done[here]
        for k, count in enumerate(levels):
            at = here[(choices >> k & 1).astype(bool)]
            for j in np.flatnonzero(rules.needs[k] != -1):
                at = at[(rules.needs[k, j] >> digits[j][at].astype(np.int64) & 1).astype(bool)]
            going_on = sum(
                (value[at + x * steps[k]] for x in range(1, int(count) + 1)), start=np.zeros(len(at))
            )
            going_on = (1.0 - rules.lose_deal[k]) * going_on - rules.price_of_check[k] * chance[at]
            better = going_on > value[at] + LEAST_GAIN * chance[at]
            value[at[better]] = going_on[better]
            step[at[better]] = k
    return value, step
