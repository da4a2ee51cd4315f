"""Exact independent draws of fault sets from a posterior: backward tables, then one forward walk."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from driveout.faults.compiled import Compiled
from driveout.faults.recursion import Folded, Kind, Part, Sweep, solve

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def draw(compiled: Compiled, folded: Folded, rng: np.random.Generator, n: int) -> Ints:
    """Independent draws of the states of all causes.

    Parameters
    ----------
    compiled
        Arrays of the network.
    folded
        The evidence worked in, one row per world.
    rng
        Source of randomness.
    n
        How many.

    Returns
    -------
    Ints
        (n, causes), 0 for absent.
    """
    total, conditional = solve(folded)
    own = len(compiled.network.causes)
    result = np.zeros((n, own), dtype=np.int64)
    done = 0
    for row, count in enumerate(rng.multinomial(n, total / total.sum())):
        if count:
            picked = _one_world(folded, row, conditional[row], rng, int(count))
            columns = picked + compiled.start[:-1]
            result[done : done + count] = compiled.public[columns[:, :own]] - compiled.public_start[:-1]
            done += count
    shuffled: Ints = rng.permutation(result)
    return shuffled


def _one_world(folded: Folded, row: int, conditional: Floats, rng: np.random.Generator, n: int) -> Ints:
    causes = len(folded.start) - 1
    picked = np.zeros((n, causes), dtype=np.int64)
    tied = {i for part in folded.parts for i in [*(i for i, _ in part.single), *part.several]}
    for i in range(causes):
        if i not in tied:
            picked[:, i] = _pick(np.tile(conditional[folded.columns(i)], (n, 1)), rng)
    base = folded.base[row : row + 1]
    sums = np.add.reduceat(base, folded.start[:-1], axis=1)
    inside = base / np.repeat(sums, np.diff(folded.start), axis=1)
    for part in folded.parts:
        sweep = Sweep(folded, part, inside, folded.leak[row : row + 1])
        _one_part(folded, part, sweep, picked, rng)
    return picked


def _one_part(folded: Folded, part: Part, sweep: Sweep, picked: Ints, rng: np.random.Generator) -> None:
    n = len(picked)
    after = [sweep.last()]
    for kinds in reversed(sweep.kinds):
        after.append(sum(sweep.weight(k) * sweep.backward(after[-1], k) for k in kinds))  # type: ignore[arg-type]
    after.reverse()
    explained = rng.choice(1 << sweep.bits, size=n, p=_normal(sweep.first()[0] * after[0][0]))
    _singles(part, sweep, folded, explained, picked, rng)
    for position, (cause, kinds) in enumerate(zip(part.several, sweep.kinds, strict=True)):
        later = after[position + 1]
        tables = [_tables(sweep, kind, later) for kind in kinds]
        weights = np.stack(
            [float(sweep.weight(k)[0, 0]) * t[0][explained] for k, t in zip(kinds, tables, strict=True)],
            axis=1,
        )
        which = _pick(weights, rng)
        for k, kind in enumerate(kinds):
            mine = np.flatnonzero(which == k)
            if len(mine):
                explained[mine] = _walk(kind, tables[k], explained[mine], rng)
                shares = np.tile(sweep.inside[0, kind.columns], (len(mine), 1))
                column = kind.columns[_pick(shares, rng)]
                picked[mine, cause] = column - folded.start[cause]


def _tables(sweep: Sweep, kind: Kind, later: Floats) -> list[Floats]:
    """Chance of success from each subset before the first, second, ... step of the kind."""
    tables = [later[0]]
    for bit, off in reversed(kind.bits):
        step = Kind(kind.columns, [(bit, off)])
        tables.append(sweep.backward(tables[-1][None, :], step)[0])
    return tables[::-1]


def _walk(kind: Kind, tables: list[Floats], explained: Ints, rng: np.random.Generator) -> Ints:
    for step, (bit, off) in enumerate(kind.bits):
        with_it = explained | (1 << bit)
        hit = (1 - off) * tables[step + 1][with_it]
        miss = off * tables[step + 1][explained]
        turned = rng.random(len(explained)) * (hit + miss) < hit
        explained = np.where(turned, with_it, explained)
    return explained


def _singles(
    part: Part,
    sweep: Sweep,
    folded: Folded,
    explained: Ints,
    picked: Ints,
    rng: np.random.Generator,
) -> None:
    """Causes on one open finding, given whether that finding was explained before the sweep."""
    for bit in {bit for _, bit in part.single}:
        mine = [
            (cause, columns, ratio)
            for (cause, at), (columns, _, ratio) in zip(part.single, sweep.single, strict=True)
            if at == bit
        ]
        on = (explained >> bit & 1).astype(bool)
        needed = on.copy()  # still to be explained by one of the causes that follow, or the leak
        rest = float(sweep.leak[0, bit])
        quiet_after = [rest]
        for _, columns, ratio in reversed(mine):
            rest *= float(sweep.inside[0, columns] @ ratio)
            quiet_after.append(rest)
        quiet_after = quiet_after[::-1][1:]
        for (cause, columns, ratio), quiet in zip(mine, quiet_after, strict=True):
            prior = sweep.inside[0, columns]
            weights = np.where(
                needed[:, None],
                prior * ((1 - ratio) + ratio * (1 - quiet)),
                np.where(on[:, None], prior, prior * ratio),
            )
            state = _pick(weights, rng)
            picked[:, cause] = state
            hit, miss = (1 - ratio)[state], (ratio * (1 - quiet))[state]
            needed &= ~(rng.random(len(on)) * (hit + miss) < hit)


def _pick(weights: Floats, rng: np.random.Generator) -> Ints:
    """One column per row, with chances in proportion to the weights."""
    edges = weights.cumsum(axis=1)
    at = rng.random(len(weights))[:, None] * edges[:, -1:]
    column: Ints = np.minimum((edges <= at).sum(axis=1), weights.shape[1] - 1).astype(np.int64)
    return column


def _normal(weights: Floats) -> Floats:
    result: Floats = weights / weights.sum()
    return result
