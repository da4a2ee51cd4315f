"""The two inner loops of `many`, compiled by Numba (extra ``fast``)."""
# Argument types are what numba finds at the first call; loops are written out because it compiles them.
# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators

from __future__ import annotations

from math import erfc, exp, log, pi, sqrt

import numpy as np
from numba import njit

HALF = 1.0 / sqrt(2.0)
NOTHING = 1e-13  # chance that rounding of the transform leaves where there is none
NEAR = 1e-2  # [minor units]; the last step of Newton's method squares the error that is left
DENSITY = 1.0 / sqrt(2.0 * pi)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def spectrum(
    codes,
    allowed,
    worlds,
    prior,
    start,
    upper,
    ratio,
    leak_upper,
    leak_ratio,
    two_sided,
    touches,
    row,
    tie_of,
    tie_start,
    tie_row,
    factor_re,
    factor_im,
    table_re,
    table_im,
    out_re,
    out_im,
):
    """Unnormalised characteristic function of the summed cost of one car; returns P(evidence)."""
    width, causes = prior.shape[1], start.size - 1
    points = table_re.shape[1]
    open_ = np.empty(codes.size, np.int64)
    base = np.empty(width)
    count_touch = np.zeros(causes, np.int64)
    share = np.empty(width)
    fixed_re, fixed_im = np.empty(points), np.empty(points)
    acc_re, acc_im = np.empty(points), np.empty(points)
    tie_re, tie_im = np.empty(points), np.empty(points)
    sum_re, sum_im = np.empty(points), np.empty(points)
    ties = tie_start.size - 1
    out_re[:] = 0.0
    out_im[:] = 0.0
    total = 0.0
    for w in range(worlds.size):
        scale = worlds[w]
        for q in range(width):
            base[q] = prior[w, q] * allowed[q]
        m = 0
        count_touch[:] = 0
        for c in codes:
            scale *= leak_upper[w, c]
            for q in range(width):
                base[q] *= upper[c, q]
            if not two_sided[c]:
                continue
            many, which = 0, -1
            for i in range(causes):
                if touches[c, i]:
                    many += 1
                    which = i
            if many == 0:
                scale *= 1.0 - leak_ratio[w, c]
            elif many == 1:
                for q in range(start[which], start[which + 1]):
                    base[q] *= 1.0 - leak_ratio[w, c] * ratio[c, q]
            else:
                open_[m] = c
                m += 1
                for i in range(causes):
                    if touches[c, i]:
                        count_touch[i] += 1
        # causes that no open finding touches and no tie binds: once a world
        fixed_re[:] = 1.0
        fixed_im[:] = 0.0
        size = 1.0
        for i in range(causes):
            if count_touch[i] == 0 and tie_of[i] < 0:
                size *= _times(base, start[i], start[i + 1], row, 0, table_re, table_im, fixed_re, fixed_im)
        moving_tie = np.zeros(ties, np.bool_)
        for i in range(causes):
            if tie_of[i] >= 0 and count_touch[i] > 0:
                moving_tie[tie_of[i]] = True
        for t in range(ties):
            if not moving_tie[t]:
                size *= _tie(
                    t,
                    base,
                    start,
                    tie_of,
                    tie_start,
                    tie_row,
                    factor_re,
                    factor_im,
                    table_re,
                    table_im,
                    tie_re,
                    tie_im,
                    sum_re,
                    sum_im,
                )
                _into(fixed_re, fixed_im, sum_re, sum_im)
        for subset in range(1 << m):
            sign = scale * size
            for q in range(width):
                share[q] = base[q]
            for f in range(m):
                if subset >> f & 1:
                    c = open_[f]
                    sign *= -leak_ratio[w, c]
                    for i in range(causes):
                        if touches[c, i]:
                            for q in range(start[i], start[i + 1]):
                                share[q] *= ratio[c, q]
            acc_re[:] = 1.0
            acc_im[:] = 0.0
            inner = 1.0
            for i in range(causes):
                if count_touch[i] > 0 and tie_of[i] < 0:
                    inner *= _times(share, start[i], start[i + 1], row, 0, table_re, table_im, acc_re, acc_im)
            for t in range(ties):
                if moving_tie[t]:
                    inner *= _tie(
                        t,
                        share,
                        start,
                        tie_of,
                        tie_start,
                        tie_row,
                        factor_re,
                        factor_im,
                        table_re,
                        table_im,
                        tie_re,
                        tie_im,
                        sum_re,
                        sum_im,
                    )
                    _into(acc_re, acc_im, sum_re, sum_im)
            weight = sign * inner
            total += weight
            for k in range(points):
                re = acc_re[k] * fixed_re[k] - acc_im[k] * fixed_im[k]
                im = acc_re[k] * fixed_im[k] + acc_im[k] * fixed_re[k]
                out_re[k] += weight * re
                out_im[k] += weight * im
    return total


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy", inline="always")
def _into(left_re, left_im, right_re, right_im):
    for k in range(left_re.size):
        re = left_re[k] * right_re[k] - left_im[k] * right_im[k]
        left_im[k] = left_re[k] * right_im[k] + left_im[k] * right_re[k]
        left_re[k] = re


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _times(share, low, high, row, offset, table_re, table_im, acc_re, acc_im):
    """Multiply by one cause's bracket, shares made to add up to 1; returns what they added up to."""
    size = 0.0
    for q in range(low, high):
        size += share[q]
    if size == 0.0:
        acc_re[:] = 0.0
        acc_im[:] = 0.0
        return 0.0
    plain, states, only = 0.0, 0, -1
    for q in range(low, high):
        r = row[offset + q]
        if r == 0:
            plain += share[q] / size
        elif r > 0 and share[q] != 0.0:
            states += 1
            only = q
    if states == 0:
        for k in range(acc_re.size):
            acc_re[k] *= plain
            acc_im[k] *= plain
    elif states == 1:
        p, r = share[only] / size, row[offset + only]
        for k in range(acc_re.size):
            b_re = plain + p * table_re[r, k]
            b_im = p * table_im[r, k]
            re = acc_re[k] * b_re - acc_im[k] * b_im
            acc_im[k] = acc_re[k] * b_im + acc_im[k] * b_re
            acc_re[k] = re
    else:
        b_re, b_im = np.full(acc_re.size, plain), np.zeros(acc_re.size)
        for q in range(low, high):
            r = row[offset + q]
            if r > 0 and share[q] != 0.0:
                p = share[q] / size
                for k in range(acc_re.size):
                    b_re[k] += p * table_re[r, k]
                    b_im[k] += p * table_im[r, k]
        for k in range(acc_re.size):
            re = acc_re[k] * b_re[k] - acc_im[k] * b_im[k]
            acc_im[k] = acc_re[k] * b_im[k] + acc_im[k] * b_re[k]
            acc_re[k] = re
    return size


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _tie(
    t,
    share,
    start,
    tie_of,
    tie_start,
    tie_row,
    factor_re,
    factor_im,
    table_re,
    table_im,
    tie_re,
    tie_im,
    sum_re,
    sum_im,
):
    """Sum over the branches of one group of shared work, into ``sum``; returns the shares' product."""
    sum_re[:] = 0.0
    sum_im[:] = 0.0
    width = share.size
    size = 1.0
    for b in range(tie_start[t], tie_start[t + 1]):
        tie_re[:] = factor_re[b]
        tie_im[:] = factor_im[b]
        size = 1.0
        for i in range(start.size - 1):
            if tie_of[i] == t:
                size *= _times(
                    share, start[i], start[i + 1], tie_row, b * width, table_re, table_im, tie_re, tie_im
                )
        for k in range(sum_re.size):
            sum_re[k] += tie_re[k]
            sum_im[k] += tie_im[k]
    return size


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def undershot(pmf, step, origin, median, sigma, share, guess):
    """Margin undershot with chance ``share``: resale lognormal, cost on a grid. Newton, kept in a bracket."""
    low, high = -1e300, 1e300
    x = guess
    for _ in range(80):
        below, density = 0.0, 0.0
        for k in range(pmf.size):
            p = pmf[k]
            if abs(p) < NOTHING:
                continue
            proceeds = x + origin + k * step
            if proceeds <= 0.0:
                continue
            z = log(proceeds / median) / sigma
            if z < -9.0:
                continue
            if z > 9.0:
                below += p
                continue
            below += p * 0.5 * erfc(-z * HALF)
            density += p * DENSITY * exp(-0.5 * z * z) / (sigma * proceeds)
        gap = below - share
        if gap > 0.0:
            high = x
        else:
            low = x
        if density > 1e-300:
            moved = x - gap / density
        else:
            moved = x
        if not low < moved < high:
            if low > -1e299 and high < 1e299:
                moved = 0.5 * (low + high)
            elif high > 1e299:
                moved = x + median
            else:
                moved = x - median
        if abs(moved - x) < NEAR:
            return moved
        x = moved
    return x
