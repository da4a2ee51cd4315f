"""The chances of all sets of faults at once, as short signed sums of products.

After evidence, faults depend on each other: a clutch that explains the slip makes the gearbox
less suspect. Exact inference gives this dependence as *worlds* (states of what lies behind
several faults), each of independent *blocks*, each a signed sum of terms inside which the
causes are independent. The weights of the terms may be negative.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Block:
    """``P(d) = sum_t weight[t] prod_i shares[i][t, d_i]`` for a few causes that hang together.

    Parameters
    ----------
    causes
        Position of each cause in the whole list.
    weight
        Signed weights adding up to 1, shape ``(T,)``.
    shares
        Per cause the chance of each state inside each term, shape ``(T, 1 + states)`` or
        ``(1, 1 + states)`` when it is the same in every term; column 0 is the absent state.
    """

    causes: tuple[int, ...]
    weight: Floats
    shares: tuple[Floats, ...]


@dataclass(frozen=True, eq=False)
class FaultChances:
    """Everything that evidence leaves possible about the faults of one car.

    Parameters
    ----------
    causes
        Id of each cause.
    faults
        Per cause, the fault id of each of its states (the absent state has none).
    worlds
        Chance and blocks of each world; the chances add up to 1.
    """

    causes: tuple[str, ...]
    faults: tuple[tuple[str, ...], ...]
    worlds: tuple[tuple[float, tuple[Block, ...]], ...]

    @classmethod
    def of_terms(
        cls,
        causes: Sequence[str],
        faults: Sequence[Sequence[str]],
        worlds: Sequence[tuple[float, Sequence[Any]]],
    ) -> FaultChances:
        """From unnormalised worlds of blocks, as exact inference hands them out.

        Parameters
        ----------
        causes
            Id of each cause.
        faults
            Per cause, the fault id of each state.
        worlds
            Weight of each world, and its blocks: objects with ``causes`` (ids), ``weight``
            ``(T,)`` and ``factors`` (``(T, 1 + states)`` a cause).

        Returns
        -------
        FaultChances
            The same, normalised.

        Raises
        ------
        BadEntry
            If shapes do not fit or the whole has no chance.
        """
        place = {cause: i for i, cause in enumerate(causes)}
        made: list[tuple[float, tuple[Block, ...]]] = []
        for weight, blocks in worlds:
            size, normal = float(weight), []
            for block in blocks:
                for cause, factor in zip(block.causes, block.factors, strict=True):
                    wanted = (len(block.weight), 1 + len(faults[place[cause]]))
                    if np.shape(factor) != wanted:
                        raise BadEntry(
                            f"The terms of {cause} have shape {np.shape(factor)}; {wanted} was "
                            "expected: one row a term, one column a state, the absent one first.",
                            field=cause,
                            value=str(np.shape(factor)),
                            allowed=str(wanted),
                        )
                total, one = _normal(block, place)
                size *= total
                normal.append(one)
            made.append((size, tuple(normal)))
        whole = sum(size for size, _ in made)
        if not whole > 0.0:
            raise BadEntry(
                "The evidence has chance 0 under this network: findings contradict each other. "
                "Take one back.",
                field="evidence",
                fix="Take one back.",
            )
        return cls(
            tuple(causes),
            tuple(tuple(names) for names in faults),
            tuple((size / whole, blocks) for size, blocks in made if size != 0.0),
        )

    @classmethod
    def independent(cls, chances: Mapping[str, float]) -> FaultChances:
        """Faults that do not depend on each other, each with its own chance."""
        for name, chance in chances.items():
            if not 0.0 <= chance <= 1.0:
                raise BadEntry(
                    f"The chance of {name} is {chance!r}; a number from 0 to 1 was expected.",
                    field=name,
                    value=chance,
                    allowed="0 to 1",
                )
        blocks = tuple(
            Block((i,), np.ones(1), (np.array([[1.0 - p, p]]),)) for i, p in enumerate(chances.values())
        )
        return cls(tuple(chances), tuple((name,) for name in chances), ((1.0, blocks),))

    @cached_property
    def plain(self) -> dict[int, Floats]:
        """Causes that stand alone in every world: shares, one row a world (one row if all agree)."""
        single: dict[int, list[Floats]] = {i: [] for i in range(len(self.causes))}
        for _, blocks in self.worlds:
            for block in blocks:
                for i, share in zip(block.causes, block.shares, strict=True):
                    if len(block.weight) == 1 or (len(share) == 1 and len(block.causes) == 1):
                        single[i].append(share[0])
        found = {}
        for i, rows in single.items():
            if len(rows) == len(self.worlds):
                stacked = np.stack(rows)
                same = len(rows) == 1 or np.ptp(stacked, axis=0).max() < 1e-15
                found[i] = stacked[:1] if same else stacked
        return found

    @cached_property
    def knots(self) -> tuple[tuple[Block, ...], ...]:
        """Per world, the blocks of causes that do not stand alone."""
        return tuple(
            tuple(b for b in blocks if any(i not in self.plain for i in b.causes))
            for _, blocks in self.worlds
        )

    @cached_property
    def of_fault(self) -> dict[str, float]:
        """Chance of each fault given the evidence."""
        found = {name: 0.0 for names in self.faults for name in names}
        for chance, blocks in self.worlds:
            for block in blocks:
                for i, share in zip(block.causes, block.shares, strict=True):
                    mean = block.weight @ share if len(share) > 1 else share[0]
                    for name, value in zip(self.faults[i], mean[1:], strict=True):
                        found[name] += chance * float(value)
        return {name: min(max(value, 0.0), 1.0) for name, value in found.items()}

    def with_odds(self, fault: str, factor: float) -> FaultChances:
        """The same with the odds of one fault multiplied, all else taken as it is.

        Parameters
        ----------
        fault
            Fault id.
        factor
            What its odds are multiplied by, above 0.

        Returns
        -------
        FaultChances
            Exact where the fault's starting chance does not depend on anything else.

        Raises
        ------
        BadEntry
            If the fault is not among them.
        """
        place = next(
            ((i, names.index(fault) + 1) for i, names in enumerate(self.faults) if fault in names), None
        )
        if place is None:
            raise BadEntry(f"{fault!r} is not among the faults here.", field="fault", value=fault)
        cause, column = place
        worlds = []
        for chance, blocks in self.worlds:
            size, changed = chance, []
            for block in blocks:
                if cause not in block.causes:
                    changed.append(block)
                    continue
                at = block.causes.index(cause)
                share = block.shares[at].copy()
                share[:, column] *= factor
                whole = share.sum(axis=1)
                weight = block.weight * whole
                total = float(weight.sum())
                size *= total
                shares = (*block.shares[:at], share / whole[:, None], *block.shares[at + 1 :])
                changed.append(Block(block.causes, weight / total, shares))
            worlds.append((size, tuple(changed)))
        whole_size = sum(size for size, _ in worlds)
        return FaultChances(
            self.causes, self.faults, tuple((size / whole_size, blocks) for size, blocks in worlds)
        )

    @property
    def terms(self) -> int:
        """How many products the signed sums hold in all."""
        return sum(len(block.weight) for _, blocks in self.worlds for block in blocks)


def chances_of(posterior: Any) -> FaultChances:
    """The chances in a posterior of ``driveout.faults``, with faults named as repairs know them."""
    network = posterior.network
    return FaultChances.of_terms(
        [cause.id for cause in network.causes],
        [[cause.fault_of(state) for state in cause.states] for cause in network.causes],
        [(world.weight, world.blocks) for world in posterior.blocks()],
    )


def _normal(block: Any, place: Mapping[str, int]) -> tuple[float, Block]:
    weight = np.array(block.weight, dtype=float)
    shares = []
    for factor in block.factors:
        given = np.asarray(factor, dtype=float)
        if given.strides[0] == 0 or len(given) == 1:
            given = given[:1]
        size = given.sum(axis=1)
        weight = weight * size
        share = given / np.where(size == 0.0, 1.0, size)[:, None]
        if len(share) > 1 and np.ptp(share, axis=0).max() < 1e-15:
            share = share[:1]
        shares.append(share)
    total = float(weight.sum())
    causes = tuple(place[cause] for cause in block.causes)
    return total, Block(causes, weight / (total if total != 0.0 else 1.0), tuple(shares))
