"""Exact sums over all sets of causes for findings that came out positive.

Wanted: ``Z = sum_d prod_i B_i(d_i) prod_f (1 - leak_f prod_i ratio_f,i(d_i))`` and the share of
each sub-state in it. The recursion over subsets of explained findings has positive terms only,
so nothing cancels. Findings that only one cause can explain are folded into that cause; causes
that touch one open finding are folded into its leak; the rest is split into connected parts.

References
----------
Heckerman, D. (1989), "A tractable inference algorithm for diagnosing multiple diseases" (the
signed sum); the positive recursion is the forward and backward pass over the same subsets.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from driveout.errors import CannotSay

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST_OPEN = 20
CHUNK_NUMBERS = 8_000_000


@dataclass(frozen=True, eq=False)
class Part:
    """One connected part: open findings (rows of ``ratio``), causes on one or on several of them."""

    findings: list[int]
    single: list[tuple[int, int]]  # (cause, position in findings)
    several: list[int]


@dataclass(frozen=True, eq=False)
class Folded:
    """A problem after folding: what is left open, and factors ``base`` with the rest in them.

    ``base`` (R, Q): R independent problems that share ``ratio``. ``scale`` (R,).
    """

    base: Floats
    scale: Floats
    start: Ints
    leak: Floats  # (R, m)
    ratio: Floats  # (m, Q)
    touches: npt.NDArray[np.bool_]  # (m, n)
    parts: list[Part]

    def columns(self, cause: int) -> slice:
        """Columns of one cause."""
        return slice(int(self.start[cause]), int(self.start[cause + 1]))


def fold(base: Floats, scale: Floats, start: Ints, leak: Floats, ratio: Floats) -> Folded:
    """Fold findings that at most one cause explains, and split the others into parts.

    Parameters
    ----------
    base
        Factor of every sub-state, one row per problem. (R, Q)
    scale
        Factor of the whole row. (R,)
    start
        Offsets of the causes in the columns. (n + 1,)
    leak
        Probability that nothing unlisted explains the finding. (R, m)
    ratio
        Probability that the sub-state does not explain the finding. (m, Q)

    Returns
    -------
    Folded
        The open rest.

    Raises
    ------
    CannotSay
        When one connected part has more open positive findings than can be summed out.
    """
    touches = (
        np.minimum.reduceat(ratio, start[:-1], axis=1) < 1
        if len(ratio)
        else np.zeros((0, len(start) - 1), bool)
    )
    base, scale = base.copy(), scale.copy()
    count = touches.sum(axis=1)
    for f in np.flatnonzero(count == 0):
        scale *= 1 - leak[:, f]
    for f in np.flatnonzero(count == 1):
        i = int(touches[f].argmax())
        columns = slice(int(start[i]), int(start[i + 1]))
        base[:, columns] *= 1 - leak[:, f, None] * ratio[f, columns]
    keep = np.flatnonzero(count > 1)
    leak, ratio, touches = leak[:, keep], ratio[keep], touches[keep]
    parts = _parts(touches)
    most = max((len(p.findings) for p in parts), default=0)
    if most > MOST_OPEN:
        raise too_many_open()
    return Folded(base, scale, start, leak, ratio, touches, parts)


def too_many_open() -> CannotSay:
    """The refusal when positive findings hang together too widely to be summed out."""
    return CannotSay(
        f"Too many positive findings hang together through shared causes; about {MOST_OPEN} can be "
        "weighed exactly at once. Leave out the weaker ones.",
        missing="fewer positive findings",
    )


def _parts(touches: npt.NDArray[np.bool_]) -> list[Part]:
    left = set(range(len(touches)))
    parts = []
    while left:
        mine = {left.pop()}
        edge = set(mine)
        while edge:
            causes = touches[sorted(edge)].any(axis=0)
            edge = {f for f in left if (touches[f] & causes).any()}
            left -= edge
            mine |= edge
        findings = sorted(mine)
        degree = touches[findings].sum(axis=0)
        single = [(int(i), int(touches[findings, i].argmax())) for i in np.flatnonzero(degree == 1)]
        parts.append(Part(findings, single, [int(i) for i in np.flatnonzero(degree > 1)]))
    return parts


def solve(folded: Folded) -> tuple[Floats, Floats]:
    """Total of every problem, and the conditional probability of every sub-state.

    Parameters
    ----------
    folded
        What ``fold`` left.

    Returns
    -------
    tuple[Floats, Floats]
        ``Z`` (R,) and ``conditional`` (R, Q); rows with ``Z = 0`` are 0.
    """
    sums = np.add.reduceat(folded.base, folded.start[:-1], axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        inside = folded.base / np.repeat(sums, np.diff(folded.start), axis=1)
    inside = np.nan_to_num(inside, nan=0.0, posinf=0.0)
    total = folded.scale * sums.prod(axis=1)
    conditional = inside.copy()
    for part in folded.parts:
        size = (len(part.several) + 2) << len(part.findings)
        step = max(1, CHUNK_NUMBERS // size)
        for low in range(0, len(total), step):
            rows = slice(low, low + step)
            z, joint = Sweep(folded, part, inside[rows], folded.leak[rows]).marginals()
            total[rows] *= z
            with np.errstate(invalid="ignore", divide="ignore"):
                joint = np.where(z[:, None] > 0, joint / z[:, None], 0.0)
            for i in [*(i for i, _ in part.single), *part.several]:
                conditional[rows, folded.columns(i)] = joint[:, folded.columns(i)]
    return total, np.where(total[:, None] > 0, conditional, 0.0)


@dataclass(frozen=True, eq=False)
class Kind:
    """Sub-states of one cause that explain the same findings equally often."""

    columns: Ints
    bits: list[tuple[int, float]]  # (bit, probability of not explaining it)


class Sweep:
    """Forward and backward pass of one part. Vectors are (R, 2^m): which findings are explained."""

    def __init__(self, folded: Folded, part: Part, inside: Floats, leak: Floats) -> None:
        self.part = part
        self.inside = inside
        self.bits = len(part.findings)
        self.kinds = [_kinds(folded, part, i) for i in part.several]
        self.single = [
            (folded.columns(i), bit, folded.ratio[part.findings[bit], folded.columns(i)])
            for i, bit in part.single
        ]
        self.leak = leak[:, part.findings]
        quiet = self.leak.copy()
        for columns, bit, ratio in self.single:
            quiet[:, bit] *= inside[:, columns] @ ratio
        self.quiet = quiet

    def first(self) -> Floats:
        """Which findings the leaks and the single causes explain."""
        vector = np.ones((len(self.inside), 1))
        for bit in range(self.bits):
            off = self.quiet[:, bit, None]
            vector = np.concatenate([vector * off, vector * (1 - off)], axis=1)
        return vector

    def last(self) -> Floats:
        """Everything must be explained in the end."""
        vector = np.zeros((len(self.inside), 1 << self.bits))
        vector[:, -1] = 1.0
        return vector

    def forward(self, vector: Floats, kind: Kind) -> Floats:
        """Add what one kind of sub-state explains."""
        vector = vector.copy()
        for bit, off in kind.bits:
            view = vector.reshape(len(vector), -1, 2, 1 << bit)
            view[:, :, 1] += (1 - off) * view[:, :, 0]
            view[:, :, 0] *= off
        return vector

    def backward(self, vector: Floats, kind: Kind) -> Floats:
        """The same step seen from the end."""
        vector = vector.copy()
        for bit, off in reversed(kind.bits):
            view = vector.reshape(len(vector), -1, 2, 1 << bit)
            view[:, :, 0] = off * view[:, :, 0] + (1 - off) * view[:, :, 1]
        return vector

    def weight(self, kind: Kind) -> Floats:
        """Probability of the kind in each problem. shape (R, 1)."""
        total: Floats = self.inside[:, kind.columns].sum(axis=1, keepdims=True)
        return total

    def marginals(self) -> tuple[Floats, Floats]:
        """Total (R,) and unnormalised probability of each sub-state (R, Q)."""
        before = [self.first()]
        for kinds in self.kinds[:-1]:
            before.append(sum(self.weight(k) * self.forward(before[-1], k) for k in kinds))  # type: ignore[arg-type]
        joint = np.zeros_like(self.inside)
        after = self.last()
        for kinds, vector in zip(reversed(self.kinds), reversed(before), strict=False):
            earlier = np.zeros_like(after)
            for kind in kinds:
                moved = self.backward(after, kind)
                share = np.einsum("rs,rs->r", vector, moved)
                joint[:, kind.columns] = self.inside[:, kind.columns] * share[:, None]
                earlier += self.weight(kind) * moved
            after = earlier
        total = np.einsum("rs,rs->r", before[0], after)
        self._single(joint, after)
        return total, joint

    def _single(self, joint: Floats, after: Floats) -> None:
        for bit in {bit for _, bit, _ in self.single}:
            others = after
            for b in reversed(range(self.bits)):
                if b != bit:
                    view = others.reshape(len(others), -1, 2, 1 << b)
                    off = self.quiet[:, b].reshape(-1, 1, 1)
                    others = (view[:, :, 0] * off + view[:, :, 1] * (1 - off)).reshape(len(others), -1)
            open_, closed = others[:, :1], others[:, 1:]
            mine = [(columns, ratio) for columns, at, ratio in self.single if at == bit]
            silent = [self.inside[:, columns] @ ratio for columns, ratio in mine]
            for k, (columns, ratio) in enumerate(mine):
                rest = self.leak[:, bit].copy()
                for other, quiet in enumerate(silent):
                    if other != k:
                        rest *= quiet
                off = rest[:, None] * ratio
                joint[:, columns] = self.inside[:, columns] * (off * open_ + (1 - off) * closed)


def _kinds(folded: Folded, part: Part, cause: int) -> list[Kind]:
    columns = folded.columns(cause)
    ratio = folded.ratio[part.findings, columns]
    kinds: dict[bytes, list[int]] = {}
    for k in range(ratio.shape[1]):
        kinds.setdefault(ratio[:, k].tobytes(), []).append(k)
    return [
        Kind(
            np.array(members) + columns.start,
            [(b, float(r)) for b, r in enumerate(ratio[:, members[0]]) if r < 1],
        )
        for members in kinds.values()
    ]
