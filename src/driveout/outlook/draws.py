"""The same sums from drawn fault sets, for cars with too many findings for the signed sum.

The fault sets are drawn exactly from what the evidence leaves possible, so every draw counts
the same; amounts are drawn from their laws. The result says that it was drawn, and how often.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from driveout.outlook.book import NOTHING, Charge, CostBook, Piece
from driveout.outlook.spread import Part
from driveout.uncertain import Lattice

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class FaultDraws:
    """Fault sets drawn from what the evidence leaves possible.

    Parameters
    ----------
    causes, faults
        As in ``FaultChances``.
    states
        State of each cause in each draw, 0 for absent, shape ``(draws, causes)``.
    """

    causes: tuple[str, ...]
    faults: tuple[tuple[str, ...], ...]
    states: NDArray[np.int64]

    @cached_property
    def of_fault(self) -> dict[str, float]:
        """Share of draws with each fault."""
        return {
            name: float(np.mean(self.states[:, i] == k))
            for i, names in enumerate(self.faults)
            for k, name in enumerate(names, start=1)
        }

    @property
    def count(self) -> int:
        """How many draws there are."""
        return len(self.states)


@dataclass(frozen=True, eq=False)
class DrawnLines:
    """Money, hours and days of every line in ``count`` draws."""

    lines: tuple[tuple[str, str, float], ...]
    money: Floats
    hours: Floats
    days: Floats
    count: int
    keys: tuple[str, ...]

    def amounts(self, charge: Charge) -> Floats:
        """Charged amount of each line (rows) in each draw."""
        return np.asarray(
            charge.money_share * self.money + charge.per_hour * self.hours + charge.per_day * self.days
        )

    def distribution(self, charge: Charge, points: int, silent: Collection[str] = ()) -> Lattice:
        """Summed amounts on a grid, each shared between its two neighbours; ``silent`` lines left out."""
        counts = np.array([not key or key not in silent for key in self.keys])
        total = self.amounts(charge)[counts].sum(axis=0)
        step = max(float(total.max()) / (points - 2), 1e-9)
        place = total / step
        low = np.floor(place).astype(int)
        pmf = np.zeros(points)
        np.add.at(pmf, low, 1.0 - (place - low))
        np.add.at(pmf, low + 1, place - low)
        return Lattice(0.0, step, pmf / pmf.sum())

    def parts(self, charge: Charge) -> tuple[Part, ...]:
        """Each line's part in mean and variance."""
        each = self.amounts(charge)
        total = each.sum(axis=0)
        centred = total - total.mean()
        return tuple(
            Part(label, fault, chance, float(row.mean()), float(np.mean((row - row.mean()) * centred)))
            for (label, fault, chance), row in zip(self.lines, each, strict=True)
        )


def draw_lines(draws: FaultDraws, book: CostBook, rng: np.random.Generator) -> DrawnLines:
    """Draw what every line takes, given the drawn fault sets.

    Parameters
    ----------
    draws
        Fault sets.
    book
        What they take.
    rng
        Source of randomness.

    Returns
    -------
    DrawnLines
        One row a line.
    """
    count = draws.count
    mends = {mend.fault: mend for mend in book.mends}
    present = {
        name: draws.states[:, i] == k
        for i, names in enumerate(draws.faults)
        for k, name in enumerate(names, start=1)
        if name in mends
    }
    none = np.zeros(count, dtype=bool)
    swapped = {
        name: np.any(
            [present.get(m.fault, none) for m in book.mends if m.swap == name and m.forces_swap], axis=0
        )
        if any(m.swap == name and m.forces_swap for m in book.mends)
        else none
        for name, _ in book.swaps
    }
    mended = {f: here & ~swapped.get(mends[f].swap, none) for f, here in present.items()}
    rows: list[tuple[tuple[str, str, float], tuple[Piece, ...], NDArray[np.bool_]]] = [
        ((piece.label, "", piece.chance), (piece,), np.ones(count, dtype=bool)) for piece in book.always
    ]
    for fault, here in mended.items():
        rows.append(((mends[fault].label, fault, float(present[fault].mean())), mends[fault].pieces, here))
    for name, piece in book.access:
        needing = [here for fault, here in mended.items() if name in mends[fault].opens]
        if needing:
            rows.append(((piece.label, "", float("nan")), (piece,), np.any(needing, axis=0)))
    rows += [((piece.label, "", float("nan")), (piece,), swapped[name]) for name, piece in book.swaps]
    sums = np.zeros((3, len(rows), count))
    for index, (_, pieces, here) in enumerate(rows):
        some = int(here.sum())
        for piece in pieces:
            happens = rng.random(some) < piece.chance
            each = [(0, piece.money), (1, piece.hours), (2, piece.days), *((0, law) for law in piece.also)]
            for kind, law in each:
                if law != NOTHING:
                    sums[kind, index, here] += law.sample(rng, some) * happens
    keys = [piece.key for piece in book.always]
    keys += [""] * (len(rows) - len(keys))
    return DrawnLines(tuple(line for line, _, _ in rows), sums[0], sums[1], sums[2], count, tuple(keys))
