"""The same exact sums in compiled loops, used when numba is installed (extra ``fast``).

One call goes from codes of evidence to probabilities of sub-states; every sum has positive terms
only. Open findings enter the vector of explained subsets when the first cause that explains them
comes up and leave it after the last one, so that its length follows the findings that are open at
once, not all of them. Formulas as in ``recursion``.
"""
# Argument types are what numba finds at the first call; loops are written out because it compiles them.
# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators
# ruff: noqa: SIM110

from __future__ import annotations

import numpy as np
from numba import njit

WIDEST = 22  # bits of the vector
MOST_NUMBERS = 1 << 27  # kept for the way back: 1 GB
TOO_WIDE = -1.0

_ENTER, _CAUSE, _LEAVE = 0, 1, 2


@njit(cache=True, nogil=True, error_model="numpy")
def weigh_codes(
    codes,
    worlds,
    world_weight,
    prior,
    allowed,
    start,
    upper,
    ratio,
    leak_upper,
    leak_ratio,
    two_sided,
    touches,
):
    """P(evidence) and, unnormalised, P(sub-state and evidence), summed over worlds; -1: too wide."""
    width = prior.shape[1]
    factor = np.ones(width)
    for c in codes:
        for q in range(width):
            factor[q] *= upper[c, q]
    for q in range(width):
        factor[q] *= allowed[q]
    sums = np.zeros(width)
    total = 0.0
    base = np.empty(width)
    for w in worlds:
        scale = world_weight[w]
        for c in codes:
            scale *= leak_upper[w, c]
        for q in range(width):
            base[q] = prior[w, q] * factor[q]
        value = _one_world(codes, base, scale, start, ratio, leak_ratio[w], two_sided, touches)
        if value < 0.0:
            return TOO_WIDE, sums
        if value > 0.0:
            total += value
            for q in range(width):
                sums[q] += value * base[q]
    return total, sums


@njit(cache=True, nogil=True, error_model="numpy")
def grid_codes(
    codes,
    worlds,
    world_weight,
    prior,
    allowed,
    start,
    upper,
    ratio,
    leak_upper,
    leak_ratio,
    two_sided,
    touches,
    levels,
    check_upper,
    check_leak,
):
    """The same for every combination of checks: ``levels`` (K,), ``check_upper`` (K, L, Q), ``check_leak`` (K, L, W)."""
    width = prior.shape[1]
    checks = levels.size
    rows = 1
    for k in range(checks):
        rows *= levels[k]
    totals = np.zeros(rows)
    sums = np.zeros((rows, width))
    factor = np.ones(width)
    for c in codes:
        for q in range(width):
            factor[q] *= upper[c, q]
    for q in range(width):
        factor[q] *= allowed[q]
    base = np.empty(width)
    for row in range(rows):
        for w in worlds:
            scale = world_weight[w]
            for c in codes:
                scale *= leak_upper[w, c]
            for q in range(width):
                base[q] = prior[w, q] * factor[q]
            rest = row
            for k in range(checks - 1, -1, -1):
                level = rest % levels[k]
                rest //= levels[k]
                if level > 0:
                    scale *= check_leak[k, level, w]
                    for q in range(width):
                        base[q] *= check_upper[k, level, q]
            value = _one_world(codes, base, scale, start, ratio, leak_ratio[w], two_sided, touches)
            if value < 0.0:
                totals[0] = TOO_WIDE
                return totals, sums
            if value > 0.0:
                totals[row] += value
                for q in range(width):
                    sums[row, q] += value * base[q]
    return totals, sums


@njit(cache=True, nogil=True, error_model="numpy")
def _one_world(codes, base, scale, start, ratio, leak, two_sided, touches):
    """Total of one world; ``base`` becomes conditional probabilities. 0: impossible, -1: too wide."""
    n = start.size - 1
    open_ = np.empty(codes.size, np.int64)
    masks = np.zeros(n, np.int64)
    m = 0
    for c in codes:
        if not two_sided[c]:
            continue
        count = 0
        only = 0
        for i in range(n):
            if touches[c, i]:
                count += 1
                only = i
        if count == 0:
            scale *= 1.0 - leak[c]
        elif count == 1:
            for q in range(start[only], start[only + 1]):
                base[q] *= 1.0 - leak[c] * ratio[c, q]
        else:
            if m >= 62:
                return TOO_WIDE
            for i in range(n):
                if touches[c, i]:
                    masks[i] |= 1 << m
            open_[m] = c
            m += 1
    for i in range(n):
        whole = 0.0
        for q in range(start[i], start[i + 1]):
            whole += base[q]
        scale *= whole
        if whole > 0.0:
            for q in range(start[i], start[i + 1]):
                base[q] /= whole
    if not scale > 0.0:
        return 0.0
    if m > 0:
        total = _sweep(open_[:m], masks, base, start, ratio, leak)
        if total < 0.0:
            return TOO_WIDE
        scale *= total
    return scale


@njit(cache=True, nogil=True, error_model="numpy")
def _sweep(open_, masks, base, start, ratio, leak):
    """Chance that every open finding is explained; the causes on them become conditional in ``base``."""
    m = open_.size
    n = masks.size
    # causes on one open finding only go into its quiet chance
    quiet = np.empty(m)
    for j in range(m):
        quiet[j] = leak[open_[j]]
    silent = np.ones(n)
    several = np.empty(n, np.int64)
    users = np.zeros(m, np.int64)
    s = 0
    edges = 0
    for i in range(n):
        mask = masks[i]
        if mask == 0:
            continue
        if mask & (mask - 1) == 0:
            j = _bit(mask)
            silent[i] = 0.0
            for q in range(start[i], start[i + 1]):
                silent[i] += base[q] * ratio[open_[j], q]
            quiet[j] *= silent[i]
        else:
            several[s] = i
            s += 1
            for j in range(m):
                if mask >> j & 1:
                    users[j] += 1
                    edges += 1
    # plan: which cause next, so that few findings are open at once
    kind = np.empty(s + 2 * m, np.int64)  # event
    what = np.empty(s + 2 * m, np.int64)
    size = np.empty(s + 2 * m + 1, np.int64)  # bits of the vector before the event
    edge_from = np.empty(s + 2 * m + 1, np.int64)
    edge_bit = np.empty(edges, np.int64)
    edge_finding = np.empty(edges, np.int64)
    events = 0
    used = 0
    place = np.full(m, -1, np.int64)
    active = 0
    here = 0
    taken = np.zeros(s, np.bool_)
    kept = 1
    for _ in range(s):
        best = -1
        least = 1 << 30
        for k in range(s):
            if not taken[k]:
                fresh = 0
                gone = 0
                mask = masks[several[k]]
                for j in range(m):
                    if mask >> j & 1:
                        if not active >> j & 1:
                            fresh += 1
                        if users[j] == 1:
                            gone += 1
                cost = 64 * fresh - gone * 48
                if cost < least:
                    least = cost
                    best = k
        taken[best] = True
        mask = masks[several[best]]
        for j in range(m):
            if mask >> j & 1 and not active >> j & 1:
                kind[events], what[events], size[events], edge_from[events] = _ENTER, j, here, used
                kept += 1 << here
                events += 1
                place[j] = here
                active |= 1 << j
                here += 1
        if here > WIDEST:
            return TOO_WIDE
        kind[events], what[events], size[events], edge_from[events] = _CAUSE, several[best], here, used
        kept += 1 << here
        events += 1
        for j in range(m):
            if mask >> j & 1:
                edge_bit[used] = place[j]
                edge_finding[used] = open_[j]
                used += 1
                users[j] -= 1
        for j in range(m):
            if mask >> j & 1 and users[j] == 0:
                kind[events], what[events], size[events], edge_from[events] = _LEAVE, place[j], here, used
                kept += 1 << here
                events += 1
                active &= ~(1 << j)
                for other in range(m):
                    if active >> other & 1 and place[other] > place[j]:
                        place[other] -= 1
                here -= 1
    size[events] = here
    edge_from[events] = used
    if kept > MOST_NUMBERS:
        return TOO_WIDE
    # forward: chance of each subset of open findings being explained so far
    tape = np.empty(kept)
    at = np.empty(events + 1, np.int64)
    at[0] = 0
    tape[0] = 1.0
    widest = 0
    for e in range(events + 1):
        widest = max(widest, size[e])
    moved = np.empty(1 << widest)
    for e in range(events):
        length = 1 << size[e]
        source = tape[at[e] : at[e] + length]
        at[e + 1] = at[e] + length
        target = tape[at[e + 1] : at[e + 1] + (1 << size[e + 1])]
        if kind[e] == _ENTER:
            off = quiet[what[e]]
            for x in range(length):
                target[x] = source[x] * off
                target[length + x] = source[x] * (1.0 - off)
        elif kind[e] == _LEAVE:
            half = 1 << what[e]
            y = 0
            for low in range(half, length, 2 * half):
                for x in range(low, low + half):
                    target[y] = source[x]
                    y += 1
        else:
            _cause_forward(
                what[e],
                source,
                target,
                moved,
                base,
                start,
                ratio,
                edge_bit,
                edge_finding,
                edge_from[e],
                edge_from[e + 1],
            )
    total = tape[at[events]]
    if not total > 0.0:
        # findings that single causes alone explain are still to come, but 0 stays 0
        return 0.0
    still = np.zeros(m)
    found = np.full(m, -1.0)
    # backward: chance of success from each subset
    after = np.empty(1 << widest)
    earlier = np.empty(1 << widest)
    after[0] = 1.0
    for e in range(events - 1, -1, -1):
        length = 1 << size[e]
        source = tape[at[e] : at[e] + length]
        if kind[e] == _ENTER:
            a = 0.0
            b = 0.0
            off = quiet[what[e]]
            for x in range(length):
                a += source[x] * after[x]
                b += source[x] * after[length + x]
                earlier[x] = off * after[x] + (1.0 - off) * after[length + x]
            still[what[e]] = a / total
            found[what[e]] = b / total
        elif kind[e] == _LEAVE:
            half = 1 << what[e]
            y = 0
            for low in range(0, length, 2 * half):
                for x in range(low, low + half):
                    earlier[x] = 0.0
                    earlier[x + half] = after[y]
                    y += 1
        else:
            _cause_backward(
                what[e],
                source,
                after,
                earlier,
                moved,
                base,
                start,
                ratio,
                edge_bit,
                edge_finding,
                edge_from[e],
                edge_from[e + 1],
                total,
                length,
            )
        after, earlier = earlier, after
    for j in range(m):
        if found[j] < 0.0:  # nobody but leak and single causes: it must be explained at once
            loud = 1.0 - quiet[j]
            if not loud > 0.0:
                return 0.0
            total *= loud
            still[j] = 0.0
            found[j] = 1.0 / loud
    for i in range(n):
        mask = masks[i]
        if mask != 0 and mask & (mask - 1) == 0:
            j = _bit(mask)
            f = open_[j]
            rest = leak[f]
            for other in range(n):
                if other != i and masks[other] == mask:
                    rest *= silent[other]
            for q in range(start[i], start[i + 1]):
                off = rest * ratio[f, q]
                base[q] *= off * still[j] + (1.0 - off) * found[j]
    return total


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _bit(mask):
    j = 0
    while not mask >> j & 1:
        j += 1
    return j


@njit(cache=True, nogil=True, error_model="numpy")
def _same_kind(q, head, ratio, edge_finding, low, high):
    for k in range(low, high):
        if ratio[edge_finding[k], q] != ratio[edge_finding[k], head]:
            return False
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def _cause_forward(i, source, target, moved, base, start, ratio, edge_bit, edge_finding, low, high):
    length = source.size
    target[:] = 0.0
    for q in range(start[i], start[i + 1]):
        is_head = True
        for earlier in range(start[i], q):
            if _same_kind(q, earlier, ratio, edge_finding, low, high):
                is_head = False
                break
        if not is_head:
            continue
        share = base[q]
        for later in range(q + 1, start[i + 1]):
            if _same_kind(later, q, ratio, edge_finding, low, high):
                share += base[later]
        if share == 0.0:
            continue
        plain = True
        for k in range(low, high):
            off = ratio[edge_finding[k], q]
            if off < 1.0:
                half = 1 << edge_bit[k]
                on = 1.0 - off
                if plain:
                    plain = False
                    for block in range(0, length, 2 * half):
                        for x in range(block, block + half):
                            moved[x + half] = source[x + half] + on * source[x]
                            moved[x] = off * source[x]
                else:
                    for block in range(0, length, 2 * half):
                        for x in range(block, block + half):
                            moved[x + half] += on * moved[x]
                            moved[x] *= off
        if plain:
            for x in range(length):
                target[x] += share * source[x]
        else:
            for x in range(length):
                target[x] += share * moved[x]


@njit(cache=True, nogil=True, error_model="numpy")
def _cause_backward(
    i, source, after, earlier, moved, base, start, ratio, edge_bit, edge_finding, low, high, total, length
):
    for x in range(length):
        earlier[x] = 0.0
    factor = np.full(start[i + 1] - start[i], -1.0)
    for q in range(start[i], start[i + 1]):
        if factor[q - start[i]] >= 0.0:
            continue
        share = 0.0
        for later in range(q, start[i + 1]):
            if later == q or _same_kind(later, q, ratio, edge_finding, low, high):
                share += base[later]
        plain = True
        for k in range(high - 1, low - 1, -1):
            off = ratio[edge_finding[k], q]
            if off < 1.0:
                half = 1 << edge_bit[k]
                on = 1.0 - off
                if plain:
                    plain = False
                    for block in range(0, length, 2 * half):
                        for x in range(block, block + half):
                            moved[x] = off * after[x] + on * after[x + half]
                            moved[x + half] = after[x + half]
                else:
                    for block in range(0, length, 2 * half):
                        for x in range(block, block + half):
                            moved[x] = off * moved[x] + on * moved[x + half]
        value = 0.0
        if plain:
            for x in range(length):
                value += source[x] * after[x]
                earlier[x] += share * after[x]
        else:
            for x in range(length):
                value += source[x] * moved[x]
                earlier[x] += share * moved[x]
        for later in range(q, start[i + 1]):
            if later == q or _same_kind(later, q, ratio, edge_finding, low, high):
                factor[later - start[i]] = value / total
    for q in range(start[i], start[i + 1]):
        base[q] *= factor[q - start[i]]
