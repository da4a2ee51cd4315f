"""Exact distribution of what the faults cost: one product a term, one transform at the end.

Inside one term of `FaultChances` the causes are independent, so the characteristic function
of the summed cost is a product over causes. Work shared by several faults keeps this form:
``exp(iwh [any])`` is ``exp(iwh) + (1 - exp(iwh)) [none]``, and "none of the group" only drops
some states from the product. A unit swapped for any hard fault is three such branches.
The same product, taken over truncated power series in place of numbers, gives each line's
mean and its covariance with the whole.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry, CannotSay
from driveout.outlook.book import Charge, CostBook, Piece, exponential_mean, moments, spectrum_on_grid
from driveout.outlook.chances import Block, FaultChances
from driveout.uncertain import Lattice, from_spectrum

Array = NDArray[Any]

#: most ways in which groups tangled through a common cause may combine
MOST_BRANCHES = 4096
#: grid points for amounts of money, and for hours or days
FINE, COARSE = 1024, 512
#: terms taken at a time, so that one product stays inside the processor's cache
CHUNK = 64


@dataclass(frozen=True)
class Part:
    """Part of one line in mean and variance of the summed amount.

    ``mean`` adds up to the mean of the sum; ``covariance`` with the sum adds up to its variance.
    """

    label: str
    fault: str
    chance: float
    mean: float
    covariance: float


@dataclass(frozen=True)
class _Branch:
    factor: Array
    dropped: frozenset[str]
    silenced: frozenset[str]


class _Algebra:
    """The numbers in which the product is taken: plain (spectrum, exponential mean) or jets."""

    def __init__(self, one: Array, times: Callable[[Array, Array], Array]) -> None:
        self.one = one
        self.times = times
        self.is_ones = bool(np.all(one == 1.0))

    def bracket(self, plain: Array, shares: Sequence[Array], values: Sequence[Array]) -> Array:
        """``plain * one + sum share * value``, one row a term; the weights are real."""
        rows = (len(plain),) + (1,) * self.one.ndim
        if not values:
            return plain.reshape(rows) * self.one
        total: Array | None = None
        for share, value in zip(shares, values, strict=True):
            # a real weight times the two halves of a complex number costs half of a complex product
            halves = value.view(float) if value.ndim and value.dtype == complex else value
            part = share.item() * halves[None] if share.size == 1 else share.reshape(rows) * halves
            total = part if total is None else np.add(total, part, out=total)
        assert total is not None
        found = total.view(complex) if self.one.dtype == complex else total
        found += plain.reshape(rows) if self.is_ones else plain.reshape(rows) * self.one
        return found


def _mean_of_product(
    chances: FaultChances,
    book: CostBook,
    compute: Callable[[tuple[Piece, ...], str], Array],
    algebra: _Algebra,
) -> Array:
    """Mean over all fault sets of the product of all items' values."""
    mends = {mend.fault: mend for mend in book.mends}
    remembered: dict[str, Array] = {}

    def value(pieces: tuple[Piece, ...], key: str) -> Array:
        if key not in remembered:
            remembered[key] = compute(pieces, key)
        return remembered[key]

    result = algebra.one
    for index, piece in enumerate(book.always):
        result = algebra.times(result, value((piece,), f"always:{index}"))
    worth = {
        fault: value(mends[fault].pieces, fault)
        for names in chances.faults
        for fault in names
        if fault in mends
    }
    ties = _ties(chances, book, value, algebra)
    bound = set().union(*(tie.causes for tie in ties))
    brackets = _Brackets(chances, worth, algebra)
    free = [i for i in chances.plain if i not in bound]
    nothing = _Branch(algebra.one, frozenset(), frozenset())
    steady, moving = brackets.product(free, nothing)
    result = algebra.times(result, steady)
    for tie in ties:
        inner = [i for i in tie.causes if i in chances.plain]
        either: Array | None = None
        for branch in tie.branches:
            one, many = brackets.product(inner, branch)
            each = algebra.times(algebra.times(one, branch.factor)[None], many)
            each = brackets.with_knots(each, tie.causes, branch)
            either = each if either is None else either + each
        assert either is not None
        moving = algebra.times(moving, either)
    moving = brackets.with_knots(moving, None, nothing)
    weights = np.array([chance for chance, _ in chances.worlds])
    if len(moving) == 1:
        return algebra.times(result, moving[0])
    return algebra.times(result, np.einsum("t,t...->...", weights, moving))


class _Brackets:
    """Each cause's factor, remembered for the states that a branch leaves it."""

    def __init__(self, chances: FaultChances, worth: dict[str, Array], algebra: _Algebra) -> None:
        self.chances, self.worth, self.algebra = chances, worth, algebra
        self.known: dict[tuple[int, frozenset[str], frozenset[str]], Array] = {}
        self.blocks: dict[tuple[int, int, frozenset[str], frozenset[str]], Array] = {}
        self.done: set[tuple[int, int]] = set()

    def of(self, cause: int, branch: _Branch) -> Array:
        names = frozenset(self.chances.faults[cause])
        key = (cause, names & branch.dropped, names & branch.silenced)
        if key not in self.known:
            share = self.chances.plain[cause]
            self.known[key] = _bracket(self.chances.faults[cause], share, branch, self.worth, self.algebra)
        return self.known[key]

    def product(self, causes: Sequence[int], branch: _Branch) -> tuple[Array, Array]:
        """What is the same in every world, and what is not (one row a world, or one row)."""
        steady, moving = self.algebra.one, self.algebra.one[None]
        for cause in causes:
            bracket = self.of(cause, branch)
            if len(bracket) == 1:
                steady = self.algebra.times(steady, bracket[0])
            else:
                moving = self.algebra.times(moving, bracket)
        return steady, moving

    def of_block(self, at: int, number: int, block: Block, branch: _Branch) -> Array:
        names = frozenset(name for i in block.causes for name in self.chances.faults[i])
        key = (at, number, names & branch.dropped, names & branch.silenced)
        if key not in self.blocks:
            self.blocks[key] = _mean_of_block(self.chances, block, branch, self.worth, self.algebra)
        return self.blocks[key]

    def with_knots(self, rows: Array, causes: frozenset[int] | None, branch: _Branch) -> Array:
        """Each world's row times its blocks of causes that hang together.

        With ``causes`` the blocks that touch them; without, the blocks that no tie has taken.
        """
        worlds = self.chances.knots
        if not any(worlds):
            return rows
        found = []
        for at, blocks in enumerate(worlds):
            row = rows[at if len(rows) > 1 else 0]
            for number, block in enumerate(blocks):
                if causes is None:
                    mine = (at, number) not in self.done
                else:
                    mine = bool(causes & set(block.causes))
                    if mine:
                        self.done.add((at, number))
                if mine:
                    row = self.algebra.times(row, self.of_block(at, number, block, branch))
            found.append(row)
        return np.stack(found)


def _mean_of_block(
    chances: FaultChances, block: Block, branch: _Branch, worth: dict[str, Array], algebra: _Algebra
) -> Array:
    steady = algebra.one
    moving = []
    for i, share in zip(block.causes, block.shares, strict=True):
        if len(share) == 1:
            steady = algebra.times(steady, _bracket(chances.faults[i], share, branch, worth, algebra)[0])
        else:
            moving.append((i, share))
    if not moving:
        return np.asarray(steady * block.weight.sum())
    summed = np.zeros_like(algebra.one)
    for first in range(0, len(block.weight), CHUNK):
        rows = slice(first, first + CHUNK)
        product = functools.reduce(
            algebra.times,
            (_bracket(chances.faults[i], share[rows], branch, worth, algebra) for i, share in moving),
        )
        summed = summed + np.einsum("t,t...->...", block.weight[rows], product)
    return algebra.times(steady, summed)


def _bracket(
    faults: Sequence[str],
    share: Array,
    branch: _Branch,
    worth: dict[str, Array],
    algebra: _Algebra,
) -> Array:
    """One cause's factor: absent share plus each state's share times its value."""
    plain = share[:, 0].copy()
    shares, values = [], []
    for column, fault in enumerate(faults, start=1):
        if fault in branch.dropped:
            continue
        if fault in branch.silenced or fault not in worth:
            plain += share[:, column]
            continue
        shares.append(share[:, column])
        values.append(worth[fault])
    return algebra.bracket(plain, shares, values)


@dataclass(frozen=True)
class _Tie:
    causes: frozenset[int]
    branches: tuple[_Branch, ...]


def _ties(
    chances: FaultChances,
    book: CostBook,
    value: Callable[[tuple[Piece, ...], str], Array],
    algebra: _Algebra,
) -> list[_Tie]:
    """Groups of shared work; those that meet in a cause, or in a block of causes, as one."""
    mends = {mend.fault: mend for mend in book.mends}
    left: dict[tuple[str, str], set[int]] = {}
    for i, names in enumerate(chances.faults):
        for fault in names:
            mend = mends.get(fault)
            for group in mend.opens if mend is not None else ():
                left.setdefault(("access", group), set()).add(i)
            if mend is not None and mend.swap:
                left.setdefault(("swap", mend.swap), set()).add(i)
    knots = [set(block.causes) for blocks in chances.knots for block in blocks]
    for causes in left.values():
        for knot in knots:
            if causes & knot:
                causes |= knot
    found = []
    while left:
        key, causes = left.popitem()
        keys = [key]
        while near := [k for k, other in left.items() if other & causes]:
            for k in near:
                causes = causes | left.pop(k)
                keys.append(k)
        found.append(_Tie(frozenset(causes), tuple(_branches(keys, book, value, algebra))))
    return found


def shared_work(
    chances: FaultChances,
    book: CostBook,
    value: Callable[[tuple[Piece, ...], str], Array],
    one: Array,
) -> list[tuple[frozenset[int], list[tuple[Array, frozenset[str], frozenset[str]]]]]:
    """Groups of causes that share work, and per branch its factor, dropped and silenced faults."""
    return [
        (tie.causes, [(b.factor, b.dropped, b.silenced) for b in tie.branches])
        for tie in _ties(chances, book, value, _Algebra(one, np.multiply))
    ]


def _branches(
    keys: Sequence[tuple[str, str]],
    book: CostBook,
    value: Callable[[tuple[Piece, ...], str], Array],
    algebra: _Algebra,
) -> list[_Branch]:
    access, swaps = dict(book.access), dict(book.swaps)
    # swaps first: what a swap silences must not open an access either, so each choice of
    # swap branches fixes which faults still count for the access groups
    choices: list[list[_Branch]] = []
    for kind, name in sorted(keys, reverse=True):
        if kind != "swap":
            continue
        members = frozenset(m.fault for m in book.mends if m.swap == name)
        hard = frozenset(m.fault for m in book.mends if m.swap == name and m.forces_swap)
        unit = value((swaps[name],), f"swap:{name}")
        choices.append(
            [
                _Branch(algebra.one, hard, frozenset()),
                _Branch(unit, frozenset(), members),
                _Branch(-unit, hard, members),
            ]
        )
    opened = [name for kind, name in sorted(keys) if kind == "access"]
    count = 3 ** len(choices) * 2 ** len(opened)
    if count > MOST_BRANCHES:
        raise _too_tangled(count)
    found: list[_Branch] = []
    for picked in itertools.product(*choices):
        factor, dropped, silenced = algebra.one, frozenset[str](), frozenset[str]()
        for branch in picked:
            factor = algebra.times(factor, branch.factor)
            dropped |= branch.dropped
            silenced |= branch.silenced
        for combination in itertools.product((True, False), repeat=len(opened)):
            ways, gone = factor, dropped
            for name, is_open in zip(opened, combination, strict=True):
                work = value((access[name],), f"access:{name}")
                needing = book.opened_by.get(name, frozenset()) - silenced
                ways = algebra.times(ways, work if is_open else algebra.one - work)
                gone = gone if is_open else gone | needing
            found.append(_Branch(ways, gone, silenced))
    return found


def _too_tangled(count: int) -> CannotSay:
    return CannotSay(
        f"Groups of shared work hang together through common causes in {count} ways; at most "
        f"{MOST_BRANCHES} are followed. Split a cause or drop a group.",
        missing="fewer tangled groups of shared work",
    )


def cost_distribution(
    chances: FaultChances,
    book: CostBook,
    charge: Charge,
    *,
    points: int = FINE,
    step: float | None = None,
) -> Lattice:
    """Exact distribution of the summed amount on a grid.

    Parameters
    ----------
    chances
        Which faults are there.
    book
        What they take.
    charge
        How money, hours and days make one amount.
    points
        Grid points, a power of two.
    step
        Grid spacing; chosen to reach the mean plus eight standard deviations plus the largest
        single item when left out.

    Returns
    -------
    Lattice
        From 0 up; the mean is exact, the variance too large by at most ``step^2 / 4`` an item.

    References
    ----------
    heckerman-1989 (the signed sum); own-reasoning, docs/method/outlook.md (the rest).
    """
    if step is None:
        mean, variance = mean_and_variance(chances, book, charge)
        step = grid_step(mean, math.sqrt(max(variance, 0.0)), chances, book, charge, points)
    return cost_distributions(chances, book, (charge,), (step,), points)[0]


def cost_distributions(
    chances: FaultChances,
    book: CostBook,
    charges: Sequence[Charge],
    steps: Sequence[float],
    points: int | Sequence[int],
    silent: Sequence[Collection[str]] | None = None,
) -> list[Lattice]:
    """Distributions under several charges in one pass, each on its own grid; see `cost_distribution`.

    ``silent`` names, charge by charge, the keys of lines in ``book.always`` that do not count there.
    """
    sizes = [points] * len(charges) if isinstance(points, int) else list(points)
    left_out = [frozenset(keys) for keys in silent] if silent else [frozenset[str]()] * len(charges)
    grids = tuple(zip(charges, steps, sizes, left_out, strict=True))
    if sum(map(len, _lines_on.values())) > MOST_LINES_KEPT:
        _lines_on.clear()
    known = _lines_on.setdefault(grids, {})
    ends = list(itertools.accumulate(size // 2 + 1 for size in sizes))

    def value(pieces: tuple[Piece, ...], key: str) -> Array:
        # the pieces of a book that is kept are the same objects each time, which is quickly seen
        found = known.get(id(pieces))
        if found is None or found[0] is not pieces:
            spoken = key.startswith("always:") and pieces[0].key
            spectra = [
                np.ones(size // 2 + 1, dtype=complex)
                if spoken and spoken in quiet
                else _spectrum(pieces, charge, step, size)
                for charge, step, size, quiet in grids
            ]
            found = (pieces, np.concatenate(spectra))
            if not key.startswith("always:"):
                known[id(pieces)] = found
        return found[1]

    one = np.ones(ends[-1], dtype=complex)
    whole = _mean_of_product(chances, book, value, _Algebra(one, np.multiply))
    return [
        from_spectrum(whole[end - size // 2 - 1 : end], size, 0.0, step)
        for (_, step, size, _), end in zip(grids, ends, strict=True)
    ]


Grids = tuple[tuple[Charge, float, int, frozenset[str]], ...]
#: spectra of whole mends, by the grids they stand on
_lines_on: dict[Grids, dict[int, tuple[tuple[Piece, ...], Array]]] = {}
#: most of them kept; each takes some 30 kB
MOST_LINES_KEPT = 1500
_spectra: dict[tuple[tuple[Piece, ...], Charge, float, int], Array] = {}


def _spectrum(pieces: tuple[Piece, ...], charge: Charge, step: float, points: int) -> Array:
    key = (pieces, charge, step, points)
    if key not in _spectra:
        if len(_spectra) > 4096:
            _spectra.clear()
        _spectra[key] = spectrum_on_grid(pieces, charge, step, points)
    return _spectra[key]


def grid_step(
    mean: float, deviation: float, chances: FaultChances, book: CostBook, charge: Charge, points: int
) -> float:
    """A round grid spacing (1, 2 or 5 times a power of ten) that leaves no mass outside."""
    largest = 0.0
    for pieces in _all_pieces(chances, book):
        one, square = moments(pieces, charge)
        largest = max(largest, one + 8.0 * math.sqrt(max(square - one * one, 0.0)))
    reach = mean + 8.0 * deviation + largest
    if reach <= 0.0:
        return 1.0
    least = reach / (points - 2)
    power = 10.0 ** math.floor(math.log10(least))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= least * (1.0 - 1e-12))


def _all_pieces(chances: FaultChances, book: CostBook) -> list[tuple[Piece, ...]]:
    known = {fault for names in chances.faults for fault in names}
    return [
        *((piece,) for piece in book.always),
        *((piece,) for _, piece in (*book.access, *book.swaps)),
        *(mend.pieces for mend in book.mends if mend.fault in known),
    ]


#: size of the infinitely small unit that carries the total beside each line
TINY = 1e-30


def _times_jets(left: Array, right: Array) -> Array:
    """Product of two series ``A + e1 B`` to first order; both parts are numbers with a tiny unit."""
    product = left[..., :1] * right
    product[..., 1:] += left[..., 1:] * right[..., :1]
    return np.asarray(product)


def parts(chances: FaultChances, book: CostBook, charge: Charge) -> tuple[Part, ...]:
    """Each line's part in the mean and variance of the summed amount.

    Parameters
    ----------
    chances
        Which faults are there.
    book
        What they take.
    charge
        How money, hours and days make one amount.

    Returns
    -------
    tuple[Part, ...]
        One entry a line; means add up to the mean, covariances to the variance.

    References
    ----------
    own-reasoning, docs/method/outlook.md (product over truncated power series).
    """
    return parts_by_charge(chances, book, (charge,))[0]


def parts_by_charge(
    chances: FaultChances, book: CostBook, charges: Sequence[Charge]
) -> list[tuple[Part, ...]]:
    """The parts under several charges in one pass; see `parts`."""
    mends = {mend.fault: mend for mend in book.mends}
    known = [fault for names in chances.faults for fault in names if fault in mends]
    used_access = {name for f in known for name in mends[f].opens}
    used_swaps = {mends[f].swap for f in known if mends[f].swap}
    labels: dict[str, tuple[str, str, float]] = {}
    for index, piece in enumerate(book.always):
        labels[f"always:{index}"] = (piece.label, "", piece.chance)
    for fault in known:
        labels[fault] = (mends[fault].label, fault, chances.of_fault[fault])
    for kind, groups, used in (("access", book.access, used_access), ("swap", book.swaps, used_swaps)):
        for name, piece in groups:
            if name in used:
                labels[f"{kind}:{name}"] = (piece.label, "", math.nan)
    if not labels:
        return [() for _ in charges]
    column = {key: k for k, key in enumerate(labels, start=1)}
    one = np.zeros((len(charges), 1 + len(labels)), dtype=complex)
    one[:, 0] = 1.0

    def value(pieces: tuple[Piece, ...], key: str) -> Array:
        # e1 picks out the line; the imaginary unit, shrunk to nothing, carries the whole sum
        jet = one.copy()
        for row, charge in enumerate(charges):
            mean, square = moments(pieces, charge)
            jet[row, 0] = complex(1.0, TINY * mean)
            jet[row, column[key]] = complex(mean, TINY * square)
        return jet

    jets = _mean_of_product(chances, book, value, _Algebra(one, _times_jets))
    means, products = jets.real[:, 1:], jets.imag / TINY
    covariances = products[:, 1:] - means * products[:, :1]
    return [
        tuple(
            Part(label, fault, chance, mean, covariance)
            for (label, fault, chance), mean, covariance in zip(labels.values(), row, others, strict=True)
        )
        for row, others in zip(means.tolist(), covariances.tolist(), strict=True)
    ]


def mean_and_variance(chances: FaultChances, book: CostBook, charge: Charge) -> tuple[float, float]:
    """Exact mean and variance of the summed amount, without any grid."""
    found = parts(chances, book, charge)
    return math.fsum(p.mean for p in found), math.fsum(p.covariance for p in found)


def log_exponential_mean(chances: FaultChances, book: CostBook, charge: Charge, rate: float) -> float:
    """``ln E[exp(rate * amount)]``, without any grid.

    Parameters
    ----------
    chances
        Which faults are there.
    book
        What they take.
    charge
        How money, hours and days make one amount.
    rate
        One over the risk tolerance.

    Returns
    -------
    float
        The logarithm.

    Raises
    ------
    CannotSay
        If an item's upper tail is so heavy that the mean is infinite.
    BadEntry
        If the rate is no number.
    """
    if not math.isfinite(rate):
        raise BadEntry(f"The rate is {rate!r}; a number was expected.", field="rate", value=rate)

    def value(pieces: tuple[Piece, ...], key: str) -> Array:
        mean = exponential_mean(pieces, charge, rate)
        if not math.isfinite(mean):
            label = pieces[0].label if pieces else key
            raise CannotSay(
                f"No certainty equivalent exists: the cost of {label!r} has so heavy an upper tail "
                "that the mean of exp(cost / tolerance) is infinite. Use a gamma or bounded cost "
                "law, a larger risk tolerance, or another rule.",
                missing="a cost law with a lighter tail",
            )
        return np.array(mean)

    inner = _mean_of_product(chances, book, value, _Algebra(np.array(1.0), np.multiply))
    return math.log(float(inner))
