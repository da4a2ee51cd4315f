"""The sums of `fault_kernel`, compiled. Needs numba (extra ``fast``); import it only if that is there."""

import numba
import numpy as np
from numpy.typing import NDArray

from driveout.viewing.fault_kernel import BUY, LEAST_GAIN, WALK, Floats, Ints


@numba.njit(cache=True)  # type: ignore[untyped-decorator]
def negatives(
    weight: Floats,
    cost_so_far: Floats,
    base: Floats,
    cost: Floats,
    start: Ints,
    open_before: Ints,
    factor: Floats,
    leak: Floats,
    levels: Ints,
) -> tuple[Floats, Floats]:
    """Chance and cost mass of every cumulative outcome, walking the outcomes like an odometer."""
    checks = len(levels)
    size = 1
    for k in range(checks):
        size *= levels[k]
    chance = np.zeros(size)
    spent = np.zeros(size)
    inside = np.empty((checks + 1, base.shape[1]))
    z = np.empty(checks + 1)
    a = np.empty(checks + 1)
    digit = np.zeros(checks, dtype=np.int64)
    for t in range(len(weight)):
        for q in range(base.shape[1]):
            inside[0, q] = base[t, q]
        z[0] = weight[t]
        a[0] = cost_so_far[t]
        digit[:] = 0
        changed = 0
        for s in range(size):
            for k in range(changed, checks):
                x = digit[k]
                columns = start[open_before[k]]
                for q in range(columns):
                    inside[k + 1, q] = inside[k, q] * factor[k, x, q]
                mass = z[k] * leak[t, k, x]
                money = a[k]
                for cause in range(open_before[k + 1], open_before[k]):
                    total = 0.0
                    paid = 0.0
                    for q in range(start[cause], start[cause + 1]):
                        total += inside[k + 1, q]
                        paid += inside[k + 1, q] * cost[q]
                    mass *= total
                    if total > 0.0:
                        money += paid / total
                z[k + 1] = mass
                a[k + 1] = money
            chance[s] += z[checks]
            spent[s] += z[checks] * a[checks]
            k = checks - 1
            while k >= 0:
                digit[k] += 1
                if digit[k] < levels[k]:
                    break
                digit[k] = 0
                k -= 1
            changed = max(k, 0)
    return chance, spent


@numba.njit(cache=True)  # type: ignore[untyped-decorator]
def spread(cumulative: Floats, levels: Ints) -> Floats:
    """Single outcomes beside "not done", from cumulative outcomes."""
    result = cumulative
    after = 1
    for k in range(len(levels) - 1, -1, -1):
        count = levels[k]
        blocks = len(result) // (count * after)
        wider = np.empty(blocks * (count + 1) * after)
        for b in range(blocks):
            old = b * count * after
            new = b * (count + 1) * after
            for i in range(after):
                wider[new + i] = result[old + (count - 1) * after + i]
                wider[new + after + i] = result[old + i]
            for x in range(1, count):
                for i in range(after):
                    wider[new + (x + 1) * after + i] = (
                        result[old + x * after + i] - result[old + (x - 1) * after + i]
                    )
        result = wider
        after *= count + 1
    return result


@numba.njit(cache=True)  # type: ignore[untyped-decorator]
def best_from(
    chance: Floats,
    worth: Floats,
    price: float,
    levels: Ints,
    price_of_check: Floats,
    lose_deal: Floats,
    open_after: Ints,
    needs: Ints,
    most: Floats,
) -> tuple[Floats, NDArray[np.int8]]:
    """Value and best step of every position at one price, by decreasing index."""
    checks = len(levels)
    stride = np.ones(checks, dtype=np.int64)
    for k in range(checks - 2, -1, -1):
        stride[k] = stride[k + 1] * (levels[k + 1] + 1)
    conditional = np.zeros(checks, dtype=np.bool_)
    for k in range(checks):
        for j in range(checks):
            if needs[k, j] != -1:
                conditional[k] = True
    size = len(chance)
    value = np.empty(size)
    step = np.empty(size, dtype=np.int8)
    digit = levels.copy()
    done = (1 << checks) - 1
    for s in range(size - 1, -1, -1):
        mass = chance[s]
        best = 0.0
        first = WALK
        if price <= most[s if len(most) > 1 else 0]:
            buying = worth[s] - price * mass
            if buying > 0.0:
                best = buying
                first = BUY
        choices = open_after[done] & ~done
        k = 0
        while choices:
            if choices & 1:
                met = True
                if conditional[k]:
                    for j in range(checks):
                        if not (needs[k, j] >> digit[j]) & 1:
                            met = False
                if met:
                    going_on = 0.0
                    for x in range(1, levels[k] + 1):
                        going_on += value[s + x * stride[k]]
                    going_on = (1.0 - lose_deal[k]) * going_on - price_of_check[k] * mass
                    if going_on > best + LEAST_GAIN * mass:
                        best = going_on
                        first = k
            choices >>= 1
            k += 1
        value[s] = best
        step[s] = first
        k = checks - 1
        while k >= 0:
            if digit[k] > 0:
                digit[k] -= 1
                if digit[k] == 0:
                    done &= ~(1 << k)
                break
            digit[k] = levels[k]
            done |= 1 << k
            k -= 1
    return value, step


@numba.njit(cache=True)  # type: ignore[untyped-decorator]
def value_at_start(
    weight: Floats,
    cost_so_far: Floats,
    base: Floats,
    cost: Floats,
    start: Ints,
    open_before: Ints,
    factor: Floats,
    leak: Floats,
    levels: Ints,
    price_of_check: Floats,
    lose_deal: Floats,
    open_after: Ints,
    needs: Ints,
    most: Floats,
    resale: float,
    price: float,
) -> tuple[float, int]:
    """All three sums in one go: expected profit of the best plan, and its first step."""
    chance, spent = negatives(weight, cost_so_far, base, cost, start, open_before, factor, leak, levels)
    chance = spread(chance, levels)
    worth = spread(spent, levels)
    for s in range(len(worth)):
        worth[s] = resale * chance[s] - worth[s]
    value, step = best_from(chance, worth, price, levels, price_of_check, lose_deal, open_after, needs, most)
    return value[0] / chance[0], step[0]
