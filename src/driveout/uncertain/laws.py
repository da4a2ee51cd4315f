"""Probability laws of one unsure amount, each with the few things the outlook asks of it.

A law answers mean, variance, share at or below, quantile, expected excess over a bar, seeded
draws, the mean of its exponential, and a mean-keeping lattice. Nothing here knows a car.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driveout.errors import BadEntry
from driveout.uncertain.lattice import Lattice

Floats = NDArray[np.float64]

#: share of the upper tail that a lattice may put on one point
TAIL = 1e-8


@runtime_checkable
class Law(Protocol):
    """What every law answers; amounts in the law's own unit."""

    def __hash__(self) -> int:
        """Equal laws share one entry of a cache."""
        ...

    @property
    def mean(self) -> float:
        """Expected value."""
        ...

    @property
    def variance(self) -> float:
        """Expected squared distance from the mean."""
        ...

    @property
    def least(self) -> float:
        """Smallest possible value."""
        ...

    def cdf(self, x: ArrayLike) -> Floats:
        """Share at or below ``x``."""
        ...

    def quantile(self, share: float) -> float:
        """Value that ``share`` of the outcomes do not exceed."""
        ...

    def excess(self, bar: ArrayLike) -> Floats:
        """Mean of ``max(X - bar, 0)``."""
        ...

    def exponential_mean(self, rate: float) -> float:
        """Mean of ``exp(rate X)``; infinite when the tail is too heavy."""
        ...

    def sample(self, rng: np.random.Generator, count: int) -> Floats:
        """Independent draws."""
        ...


def on_lattice(law: Law, step: float, tail: float = TAIL) -> Lattice:
    """The law on a grid of equal steps, its mean kept exactly.

    Each value is shared between its two neighbouring grid points in proportion to nearness,
    so the mean is kept and the variance grows by at most a quarter step squared. Mass beyond
    the ``1 - tail`` quantile is put at its own mean.

    Parameters
    ----------
    law
        Any law.
    step
        Grid spacing, greater than 0, in the law's unit.
    tail
        Share of the upper tail that is put on its mean.

    Returns
    -------
    Lattice
        Points at whole multiples of ``step``.

    Raises
    ------
    BadEntry
        If ``step`` is not above 0.

    References
    ----------
    own-reasoning, docs/method/uncertain.md (linear sharing is known as local moment matching).
    """
    if not step > 0:
        raise BadEntry(
            f"The grid step is {step!r}; it must be above 0. Give the spacing of the grid.",
            field="step",
            value=step,
            allowed="above 0",
        )
    if isinstance(law, Fixed):
        return Lattice.at(law.value, step)
    first = math.floor(law.least / step)
    last = max(math.ceil(law.quantile(1.0 - tail) / step), first + 1)
    points = np.arange(first, last + 1, dtype=float) * step
    over = law.excess(points)
    beyond = 1.0 - float(law.cdf(points[-1]))
    if beyond > 0.1 * tail and over[-1] > 0.0:
        # what lies beyond stands at its own mean, so that the mean is kept to the last digit
        further = np.arange(1, math.ceil(over[-1] / (beyond * step)) + 1)
        over = np.append(over, np.maximum(over[-1] - beyond * step * further, 0.0))
    over[-1] = 0.0
    slope = np.diff(over) / step
    pmf = np.clip(np.diff(np.concatenate(([-1.0], slope, [0.0]))), 0.0, None)
    return Lattice(float(points[0]), step, pmf / pmf.sum())


@dataclass(frozen=True, slots=True)
class Fixed:
    """One sure value."""

    value: float

    @property
    def mean(self) -> float:
        """The value itself."""
        return self.value

    @property
    def variance(self) -> float:
        """Nothing varies."""
        return 0.0

    @property
    def least(self) -> float:
        """The value itself."""
        return self.value

    def cdf(self, x: ArrayLike) -> Floats:
        """0 below the value, 1 from it on."""
        return np.asarray(np.asarray(x, dtype=float) >= self.value, dtype=float)

    def quantile(self, share: float) -> float:
        """The value at any share."""
        _check_share(share)
        return self.value

    def excess(self, bar: ArrayLike) -> Floats:
        """How far the value stands above the bar."""
        return np.maximum(self.value - np.asarray(bar, dtype=float), 0.0)

    def exponential_mean(self, rate: float) -> float:
        """``exp(rate value)``."""
        return _exp(rate * self.value)

    def sample(self, rng: np.random.Generator, count: int) -> Floats:
        """The value ``count`` times; the generator is left untouched."""
        return np.full(count, self.value)


@dataclass(frozen=True)
class Lognormal:
    """``shift + exp(mu + sigma Z)``: a product of many factors; heavy upper tail."""

    mu: float
    sigma: float
    shift: float = 0.0

    def __post_init__(self) -> None:
        _need_above_zero("sigma", self.sigma)

    @property
    def mean(self) -> float:
        """``shift + exp(mu + sigma^2 / 2)``."""
        return self.shift + math.exp(self.mu + 0.5 * self.sigma**2)

    @property
    def variance(self) -> float:
        """``(exp(sigma^2) - 1) exp(2 mu + sigma^2)``."""
        return math.expm1(self.sigma**2) * math.exp(2.0 * self.mu + self.sigma**2)

    @property
    def least(self) -> float:
        """The shift."""
        return self.shift

    def cdf(self, x: ArrayLike) -> Floats:
        """Share at or below ``x``."""
        from scipy.special import ndtr

        over = np.asarray(x, dtype=float) - self.shift
        with np.errstate(divide="ignore"):
            score = (np.log(np.maximum(over, 0.0)) - self.mu) / self.sigma
        return np.asarray(ndtr(score))

    def quantile(self, share: float) -> float:
        """Value that ``share`` of the outcomes do not exceed."""
        from scipy.special import ndtri

        _check_share(share)
        return float(self.shift + np.exp(self.mu + self.sigma * ndtri(share)))

    def excess(self, bar: ArrayLike) -> Floats:
        """Mean of ``max(X - bar, 0)`` in the form of a call price (Black and Scholes 1973)."""
        from scipy.special import ndtr

        strike = np.asarray(bar, dtype=float) - self.shift
        middle = math.exp(self.mu + 0.5 * self.sigma**2)
        with np.errstate(divide="ignore"):
            below = (self.mu - np.log(np.maximum(strike, 0.0))) / self.sigma
        call = middle * ndtr(below + self.sigma) - np.maximum(strike, 0.0) * ndtr(below)
        return np.asarray(np.where(strike <= 0.0, middle - strike, np.maximum(call, 0.0)))

    def exponential_mean(self, rate: float) -> float:
        """Finite for ``rate <= 0`` only: the upper tail outgrows any exponential."""
        if rate > 0:
            return math.inf
        score = np.linspace(-12.0, 12.0, 4801)
        weight = np.exp(-0.5 * score**2)
        value = self.shift + np.exp(self.mu + self.sigma * score)
        return float(np.sum(weight * np.exp(rate * value)) / np.sum(weight))

    def sample(self, rng: np.random.Generator, count: int) -> Floats:
        """Independent draws."""
        return self.shift + rng.lognormal(self.mu, self.sigma, count)


@dataclass(frozen=True)
class Gamma:
    """``shift + Gamma(shape, scale)``: right-tailed, with a tail that exponentials can bear."""

    shape: float
    scale: float
    shift: float = 0.0

    def __post_init__(self) -> None:
        _need_above_zero("shape", self.shape)
        _need_above_zero("scale", self.scale)

    @property
    def mean(self) -> float:
        """``shift + shape scale``."""
        return self.shift + self.shape * self.scale

    @property
    def variance(self) -> float:
        """``shape scale^2``."""
        return self.shape * self.scale**2

    @property
    def least(self) -> float:
        """The shift."""
        return self.shift

    def cdf(self, x: ArrayLike) -> Floats:
        """Share at or below ``x``."""
        from scipy.special import gammainc

        over = np.maximum(np.asarray(x, dtype=float) - self.shift, 0.0) / self.scale
        return np.asarray(gammainc(self.shape, over))

    def quantile(self, share: float) -> float:
        """Value that ``share`` of the outcomes do not exceed."""
        from scipy.special import gammaincinv

        _check_share(share)
        return float(self.shift + self.scale * gammaincinv(self.shape, share))

    def excess(self, bar: ArrayLike) -> Floats:
        """Mean of ``max(X - bar, 0)``."""
        from scipy.special import gammaincc

        strike = np.asarray(bar, dtype=float) - self.shift
        reach = np.maximum(strike, 0.0) / self.scale
        call = self.scale * (
            self.shape * gammaincc(self.shape + 1.0, reach) - reach * gammaincc(self.shape, reach)
        )
        below = self.shape * self.scale - strike
        return np.asarray(np.where(strike <= 0.0, below, np.maximum(call, 0.0)))

    def exponential_mean(self, rate: float) -> float:
        """``exp(rate shift) (1 - rate scale)^-shape``, finite while ``rate scale < 1``."""
        if rate * self.scale >= 1.0:
            return math.inf
        return _exp(rate * self.shift - self.shape * math.log1p(-rate * self.scale))

    def sample(self, rng: np.random.Generator, count: int) -> Floats:
        """Independent draws."""
        return self.shift + rng.gamma(self.shape, self.scale, count)


@dataclass(frozen=True)
class Bounded:
    """A beta law stretched over an interval: nothing below ``start``, nothing above ``end``."""

    start: float
    end: float
    rise: float
    fall: float

    def __post_init__(self) -> None:
        _need_above_zero("width", self.end - self.start)
        _need_above_zero("rise", self.rise)
        _need_above_zero("fall", self.fall)

    @property
    def width(self) -> float:
        """Length of the interval."""
        return self.end - self.start

    @property
    def mean(self) -> float:
        """``start + width rise / (rise + fall)``."""
        return self.start + self.width * self.rise / (self.rise + self.fall)

    @property
    def variance(self) -> float:
        """Beta variance times the squared width."""
        both = self.rise + self.fall
        return self.width**2 * self.rise * self.fall / (both**2 * (both + 1.0))

    @property
    def least(self) -> float:
        """The start of the interval."""
        return self.start

    def cdf(self, x: ArrayLike) -> Floats:
        """Share at or below ``x``."""
        from scipy.special import betainc

        return np.asarray(betainc(self.rise, self.fall, self._along(x)))

    def quantile(self, share: float) -> float:
        """Value that ``share`` of the outcomes do not exceed."""
        from scipy.special import betaincinv

        _check_share(share)
        return float(self.start + self.width * betaincinv(self.rise, self.fall, share))

    def excess(self, bar: ArrayLike) -> Floats:
        """Mean of ``max(X - bar, 0)``."""
        from scipy.special import betainc

        at = self._along(bar)
        middle = self.rise / (self.rise + self.fall)
        call = middle * (1.0 - betainc(self.rise + 1.0, self.fall, at)) - at * (
            1.0 - betainc(self.rise, self.fall, at)
        )
        given = np.asarray(bar, dtype=float)
        inside = self.width * np.maximum(call, 0.0)
        return np.asarray(np.where(given <= self.start, self.mean - given, inside))

    def exponential_mean(self, rate: float) -> float:
        """Always finite: the series of the confluent hypergeometric function."""
        from scipy.special import hyp1f1

        inner = float(hyp1f1(self.rise, self.rise + self.fall, rate * self.width))
        return _exp(rate * self.start) * inner

    def sample(self, rng: np.random.Generator, count: int) -> Floats:
        """Independent draws."""
        return self.start + self.width * rng.beta(self.rise, self.fall, count)

    def _along(self, x: ArrayLike) -> Floats:
        return np.clip((np.asarray(x, dtype=float) - self.start) / self.width, 0.0, 1.0)


@dataclass(frozen=True)
class Floored:
    """``max(X, floor)``: an amount that cannot fall under a floor, such as a cost under 0."""

    law: Law
    floor: float = 0.0

    @cached_property
    def mean(self) -> float:
        """Mean of the floored amount."""
        return self.floor + float(self.law.excess(self.floor))

    @cached_property
    def variance(self) -> float:
        """Exact below the floor up to a 96-point Gauss rule."""
        low = self.law.least
        second = self.law.variance + (self.law.mean - self.floor) ** 2
        if low < self.floor:
            node, weight = gauss()
            x = 0.5 * (self.floor - low) * node + 0.5 * (self.floor + low)
            part = float(np.sum(weight * 2.0 * (self.floor - x) * self.law.cdf(x)))
            second -= 0.5 * (self.floor - low) * part
        return second - (self.mean - self.floor) ** 2

    @property
    def least(self) -> float:
        """The floor, or the law's own start if that is higher."""
        return max(self.law.least, self.floor)

    def cdf(self, x: ArrayLike) -> Floats:
        """Share at or below ``x``."""
        given = np.asarray(x, dtype=float)
        return np.asarray(np.where(given < self.floor, 0.0, self.law.cdf(given)))

    def quantile(self, share: float) -> float:
        """Value that ``share`` of the outcomes do not exceed."""
        return max(self.law.quantile(share), self.floor)

    def excess(self, bar: ArrayLike) -> Floats:
        """Mean of ``max(X - bar, 0)``."""
        given = np.asarray(bar, dtype=float)
        over = self.law.excess(np.maximum(given, self.floor))
        return np.asarray(over + np.maximum(self.floor - given, 0.0))

    def exponential_mean(self, rate: float) -> float:
        """The law's own, with what lies under the floor lifted to it (96-point Gauss rule)."""
        whole = self.law.exponential_mean(rate)
        low = self.law.least
        if not math.isfinite(whole) or low >= self.floor:
            return whole
        node, weight = gauss()
        x = 0.5 * (self.floor - low) * node + 0.5 * (self.floor + low)
        part = float(np.sum(weight * rate * np.exp(rate * x) * self.law.cdf(x)))
        return whole + 0.5 * (self.floor - low) * part

    def sample(self, rng: np.random.Generator, count: int) -> Floats:
        """Independent draws."""
        return np.maximum(self.law.sample(rng, count), self.floor)


@dataclass(frozen=True)
class Scaled:
    """``factor X + shift`` with a factor above 0: another unit, or a personal bias."""

    law: Law
    factor: float = 1.0
    shift: float = 0.0

    def __post_init__(self) -> None:
        _need_above_zero("factor", self.factor)

    @property
    def mean(self) -> float:
        """Scaled mean."""
        return self.factor * self.law.mean + self.shift

    @property
    def variance(self) -> float:
        """Scaled variance."""
        return self.factor**2 * self.law.variance

    @property
    def least(self) -> float:
        """Scaled start."""
        return self.factor * self.law.least + self.shift

    def cdf(self, x: ArrayLike) -> Floats:
        """Share at or below ``x``."""
        return self.law.cdf((np.asarray(x, dtype=float) - self.shift) / self.factor)

    def quantile(self, share: float) -> float:
        """Value that ``share`` of the outcomes do not exceed."""
        return self.factor * self.law.quantile(share) + self.shift

    def excess(self, bar: ArrayLike) -> Floats:
        """Mean of ``max(X - bar, 0)``."""
        inner = (np.asarray(bar, dtype=float) - self.shift) / self.factor
        return np.asarray(self.factor * self.law.excess(inner))

    def exponential_mean(self, rate: float) -> float:
        """The inner law's, at the scaled rate."""
        return _exp(rate * self.shift) * self.law.exponential_mean(rate * self.factor)

    def sample(self, rng: np.random.Generator, count: int) -> Floats:
        """Independent draws."""
        return self.factor * self.law.sample(rng, count) + self.shift


@dataclass(frozen=True)
class Mixture:
    """One of several laws, chosen by chance (two humps: bolts only, or gearbox out)."""

    weights: tuple[float, ...]
    laws: tuple[Law, ...]

    def __post_init__(self) -> None:
        fits = len(self.weights) == len(self.laws) > 0 and min(self.weights) >= 0.0
        if not fits or abs(math.fsum(self.weights) - 1.0) > 1e-9:
            raise BadEntry(
                f"The mixture weights are {list(self.weights)} for {len(self.laws)} laws; one "
                "weight a law, none negative, adding up to 1, were expected. Correct the weights.",
                field="weights",
                value=list(self.weights),
                allowed="0 or more, sum 1",
            )

    @property
    def mean(self) -> float:
        """Weighted mean."""
        return self._sum([law.mean for law in self.laws])

    @property
    def variance(self) -> float:
        """Variance within plus variance between."""
        middle = self.mean
        return self._sum([law.variance + (law.mean - middle) ** 2 for law in self.laws])

    @property
    def least(self) -> float:
        """Smallest start among the laws that can happen."""
        return min(law.least for w, law in zip(self.weights, self.laws, strict=True) if w > 0)

    def cdf(self, x: ArrayLike) -> Floats:
        """Share at or below ``x``."""
        return self._mix([law.cdf(x) for law in self.laws])

    def quantile(self, share: float) -> float:
        """Value that ``share`` of the outcomes do not exceed (by bisection)."""
        _check_share(share)
        each = [law.quantile(share) for w, law in zip(self.weights, self.laws, strict=True) if w > 0]
        low, high = min(each), max(each)
        if float(self.cdf(low)) >= share:
            return low
        for _ in range(200):
            middle = 0.5 * (low + high)
            if not low < middle < high:
                break
            if float(self.cdf(middle)) < share:
                low = middle
            else:
                high = middle
        return high

    def excess(self, bar: ArrayLike) -> Floats:
        """Mean of ``max(X - bar, 0)``."""
        return self._mix([law.excess(bar) for law in self.laws])

    def exponential_mean(self, rate: float) -> float:
        """Weighted; infinite when any law that can happen is."""
        return math.fsum(
            w * law.exponential_mean(rate) for w, law in zip(self.weights, self.laws, strict=True) if w > 0
        )

    def sample(self, rng: np.random.Generator, count: int) -> Floats:
        """Independent draws."""
        which = rng.choice(len(self.laws), size=count, p=np.asarray(self.weights))
        drawn = np.empty(count)
        for index, law in enumerate(self.laws):
            here = which == index
            drawn[here] = law.sample(rng, int(here.sum()))
        return drawn

    def _sum(self, values: Sequence[float]) -> float:
        return math.fsum(w * v for w, v in zip(self.weights, values, strict=True))

    def _mix(self, values: Sequence[Floats]) -> Floats:
        total = np.zeros(np.shape(values[0]))
        for weight, value in zip(self.weights, values, strict=True):
            total = total + weight * value
        return total


def maybe(chance: float, law: Law) -> Mixture:
    """Nothing with ``1 - chance``, else the law."""
    return Mixture((1.0 - chance, chance), (Fixed(0.0), law))


@cache
def gauss() -> tuple[Floats, Floats]:
    """Nodes and weights of the 96-point Gauss rule on -1 to 1."""
    node, weight = np.polynomial.legendre.leggauss(96)
    return node, weight


def _check_share(share: float) -> None:
    if not 0.0 <= share <= 1.0:
        raise BadEntry(
            f"The share is {share!r}; a number from 0 to 1 was expected. 10 % is written 0.1.",
            field="share",
            value=share,
            allowed="0 to 1",
        )


def _need_above_zero(name: str, value: float) -> None:
    if not (value > 0 and math.isfinite(value)):
        raise BadEntry(
            f"The {name} of the law is {value!r}; it must be a number above 0.",
            field=name,
            value=value,
            allowed="above 0",
        )


def _exp(power: float) -> float:
    return math.exp(power) if power < 700.0 else math.inf
