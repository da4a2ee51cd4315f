"""A distribution on a grid of equal steps, added and mixed without sampling."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driveout.errors import BadEntry

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Lattice:
    """Chances of ``origin, origin + step, origin + 2 step, ...``."""

    origin: float
    step: float
    pmf: Floats

    def __post_init__(self) -> None:
        if not self.step > 0:
            raise BadEntry(
                f"The grid step is {self.step!r}; it must be above 0.",
                field="step",
                value=self.step,
                allowed="above 0",
            )
        pmf = np.asarray(self.pmf, dtype=float)
        if pmf.ndim != 1 or pmf.size == 0 or pmf.min() < -1e-9 or abs(pmf.sum() - 1.0) > 1e-6:
            raise BadEntry(
                f"The chances add up to {float(pmf.sum()):.9g}; one row of chances, none negative, "
                "adding up to 1, was expected.",
                field="pmf",
                value=float(pmf.sum()),
                allowed="0 or more, sum 1",
            )
        object.__setattr__(self, "pmf", pmf)

    @classmethod
    def at(cls, value: float, step: float) -> Lattice:
        """One sure value, shared between its two grid neighbours so that the mean is kept."""
        first = math.floor(value / step + 1e-9)
        part = min(max(value / step - first, 0.0), 1.0)
        if part < 1e-9:
            return cls(first * step, step, np.ones(1))
        return cls(first * step, step, np.array([1.0 - part, part]))

    @cached_property
    def points(self) -> Floats:
        """The grid values."""
        return np.asarray(self.origin + self.step * np.arange(self.pmf.size), dtype=float)

    @cached_property
    def cumulative(self) -> Floats:
        """Share at or below each grid value."""
        return np.minimum(np.cumsum(self.pmf), 1.0)

    @property
    def mean(self) -> float:
        """Expected value."""
        return float(self.pmf @ self.points)

    @property
    def variance(self) -> float:
        """Expected squared distance from the mean."""
        return float(self.pmf @ (self.points - self.mean) ** 2)

    def share_below(self, value: float) -> float:
        """Share at or below ``value``."""
        last = math.floor((value - self.origin) / self.step + 1e-9)
        if last < 0:
            return 0.0
        return float(self.cumulative[min(last, self.pmf.size - 1)])

    def quantile(self, share: float) -> float:
        """Smallest grid value that at least ``share`` of the outcomes do not exceed."""
        _check_share(share)
        place = int(np.searchsorted(self.cumulative, share - 1e-12))
        return float(self.points[min(place, self.pmf.size - 1)])

    def excess(self, bar: ArrayLike) -> Floats:
        """Mean of ``max(X - bar, 0)``."""
        given = np.atleast_1d(np.asarray(bar, dtype=float))
        over = np.maximum(self.points[None, :] - given[:, None], 0.0) @ self.pmf
        return np.asarray(over.reshape(np.shape(bar)))

    def mean_of_lowest(self, share: float) -> float:
        """Mean of the lowest ``share`` of outcomes (the lower tail mean, CVaR).

        Parameters
        ----------
        share
            Part of the outcomes, above 0 and at most 1.

        Returns
        -------
        float
            Mean over exactly that share; the grid point on the border counts in part.

        Raises
        ------
        BadEntry
            If the share is not above 0 and at most 1.

        References
        ----------
        rockafellar-uryasev-2002, definition of the tail mean with split atoms.
        """
        _check_share(share)
        if share == 0.0:
            raise BadEntry(
                "The share is 0; a tail mean needs a share above 0. 10 % is written 0.1.",
                field="share",
                value=share,
                allowed="above 0, at most 1",
            )
        taken = np.clip(share - (self.cumulative - self.pmf), 0.0, self.pmf)
        return float(taken @ self.points) / float(taken.sum())

    def shifted(self, by: float) -> Lattice:
        """The same chances, all values moved by ``by`` (which may lie off the grid)."""
        return Lattice(self.origin + by, self.step, self.pmf)

    def scaled(self, factor: float) -> Lattice:
        """All values times ``factor``; a factor below 0 turns the order round."""
        if factor == 0:
            return Lattice(0.0, self.step, np.ones(1))
        if factor > 0:
            return Lattice(self.origin * factor, self.step * factor, self.pmf)
        return Lattice(float(self.points[-1]) * factor, -self.step * factor, self.pmf[::-1].copy())

    def plus(self, other: Lattice) -> Lattice:
        """Distribution of the sum of two independent amounts on grids of the same step.

        Parameters
        ----------
        other
            The second amount.

        Returns
        -------
        Lattice
            Exact convolution by fast Fourier transform.

        Raises
        ------
        BadEntry
            If the two grids have different steps.
        """
        _same_step([self, other])
        size = self.pmf.size + other.pmf.size - 1
        if min(self.pmf.size, other.pmf.size) <= 32:
            pmf = np.convolve(self.pmf, other.pmf)
        else:
            length = 1 << (size - 1).bit_length()
            both = np.fft.rfft(self.pmf, length) * np.fft.rfft(other.pmf, length)
            pmf = np.fft.irfft(both, length)[:size]
        return Lattice(self.origin + other.origin, self.step, _tidy(pmf))

    def spectrum(self, length: int) -> NDArray[np.complex128]:
        """Discrete characteristic function of the grid index on ``length`` points.

        The origin is left out; it adds up separately. Chances beyond ``length`` wrap round.
        """
        pmf = self.pmf
        if pmf.size > length:
            padded = np.zeros(-(-pmf.size // length) * length)
            padded[: pmf.size] = pmf
            pmf = padded.reshape(-1, length).sum(axis=0)
        return np.asarray(np.fft.rfft(pmf, length))


def from_spectrum(values: NDArray[np.complex128], length: int, origin: float, step: float) -> Lattice:
    """The lattice whose `Lattice.spectrum` is ``values``."""
    return Lattice(origin, step, _tidy(np.fft.irfft(values, length)))


def sum_of(parts: Sequence[Lattice]) -> Lattice:
    """Distribution of the sum of independent amounts on grids of the same step."""
    if not parts:
        raise BadEntry("There is nothing to add up; give at least one amount.", field="parts")
    total = parts[0]
    for part in parts[1:]:
        total = total.plus(part)
    return total


def mixed(weights: Sequence[float], parts: Sequence[Lattice]) -> Lattice:
    """One of several lattices by chance; same step and origins a whole number of steps apart.

    Parameters
    ----------
    weights
        Chance of each part, adding up to 1.
    parts
        The lattices.

    Returns
    -------
    Lattice
        Their mixture.

    Raises
    ------
    BadEntry
        If the grids do not fit onto each other or the numbers of weights and parts differ.
    """
    if len(weights) != len(parts) or not parts:
        raise BadEntry(
            f"There are {len(weights)} weights for {len(parts)} parts; one each was expected.",
            field="weights",
            value=len(weights),
        )
    step = _same_step(parts)
    origin = min(part.origin for part in parts)
    offsets = [(part.origin - origin) / step for part in parts]
    if max(abs(o - round(o)) for o in offsets) > 1e-6:
        raise BadEntry(
            "The grids start a broken number of steps apart; they cannot be mixed. "
            "Put them on one grid first.",
            field="origin",
        )
    size = max(round(o) + part.pmf.size for o, part in zip(offsets, parts, strict=True))
    pmf = np.zeros(size)
    for weight, offset, part in zip(weights, offsets, parts, strict=True):
        pmf[round(offset) : round(offset) + part.pmf.size] += weight * part.pmf
    return Lattice(origin, step, pmf)


def _same_step(parts: Sequence[Lattice]) -> float:
    step = parts[0].step
    for part in parts:
        if abs(part.step - step) > 1e-9 * step:
            raise BadEntry(
                f"One grid steps by {step:g}, another by {part.step:g}; put both on one grid first.",
                field="step",
                value=part.step,
                allowed=f"{step:g}",
            )
    return step


def _tidy(pmf: Floats) -> Floats:
    """Rounding noise of the transform removed: no chance below 0, sum exactly 1."""
    clean = np.clip(pmf, 0.0, None)
    return np.asarray(clean / clean.sum())


def _check_share(share: float) -> None:
    if not 0.0 <= share <= 1.0:
        raise BadEntry(
            f"The share is {share!r}; a number from 0 to 1 was expected. 10 % is written 0.1.",
            field="share",
            value=share,
            allowed="0 to 1",
        )
