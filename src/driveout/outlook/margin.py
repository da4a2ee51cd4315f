"""What is left of a sale before the car is paid for: unsure resale less unsure cost.

The resale is lognormal, the cost a lattice; the resale is integrated in closed form, so no
sampling is needed. If letting the car go (part out, sell as it stands, scrap) brings a known
sum, the person takes the better of the two once the faults are known: the margin is then
``max(resale - cost, salvage)``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry, CannotSay
from driveout.uncertain import Lattice, Lognormal, crossing

Floats = NDArray[np.float64]

#: chances under this are left out of the sums; a thousandth of a cent on a million
NEGLIGIBLE = 1e-13
#: cost points of a quick first look
ROUGH = 96


@dataclass(frozen=True)
class Resale:
    """What a sale brings after the share that fees take: ``exp(mu + sigma Z)``, or a sure sum."""

    median: float
    sigma: float

    def __post_init__(self) -> None:
        if not (self.median > 0 and math.isfinite(self.median) and self.sigma >= 0):
            raise BadEntry(
                f"The resale is {self.median!r} with spread {self.sigma!r}; a value above 0 and a "
                "spread of 0 or more were expected. Correct the value of the mended car.",
                field="resale",
                value=self.median,
                allowed="above 0",
            )

    @classmethod
    def between(cls, low: float, high: float, fee_share: float = 0.0) -> Resale:
        """From the P10 and P90 of the sale price, less a fee that is a share of it.

        Parameters
        ----------
        low
            Price undershot one time in ten, above 0.
        high
            Price overshot one time in ten.
        fee_share
            Share of the price that goes off, 0 to below 1.

        Returns
        -------
        Resale
            Lognormal with these two points.

        Raises
        ------
        BadEntry
            If the two are not above 0 and in order, or the share is not one.
        """
        if not (0.0 < low <= high and math.isfinite(high)):
            raise BadEntry(
                f"The value of the mended car is {low:g} to {high:g}; two amounts above 0, the lower "
                "first, were expected. Correct the range.",
                field="value",
                value=[low, high],
                allowed="0 < low <= high",
            )
        if not 0.0 <= fee_share < 1.0:
            raise BadEntry(
                f"The fee is {fee_share!r} of the price; a share from 0 to below 1 was expected.",
                field="sale_fee_share",
                value=fee_share,
                allowed="0 to below 1",
            )
        reach = 1.2815515655446004  # P90 of the standard normal law
        kept = 1.0 - fee_share
        return cls(kept * math.sqrt(low * high), math.log(high / low) / (2.0 * reach))

    @property
    def mean(self) -> float:
        """Expected proceeds."""
        return self.median * math.exp(0.5 * self.sigma**2)

    @property
    def variance(self) -> float:
        """Variance of the proceeds."""
        return math.expm1(self.sigma**2) * self.mean**2

    def quantile(self, share: float) -> float:
        """Proceeds not exceeded with this chance."""
        from scipy.special import ndtri

        return float(self.median * np.exp(self.sigma * ndtri(share)))

    def share_below(self, amount: Floats) -> Floats:
        """Chance of proceeds at or below each amount."""
        from scipy.special import ndtr

        if self.sigma == 0.0:
            return np.asarray(amount >= self.median, dtype=float)
        with np.errstate(divide="ignore"):
            score = np.log(np.maximum(amount, 0.0) / self.median) / self.sigma
        return np.asarray(ndtr(score))

    def shortfall(self, amount: Floats) -> Floats:
        """Mean of ``max(amount - proceeds, 0)``: a put price (Black and Scholes 1973)."""
        if self.sigma == 0.0:
            return np.maximum(amount - self.median, 0.0)
        law = Lognormal(math.log(self.median), self.sigma)
        return np.asarray(np.maximum(law.excess(amount) - (self.mean - amount), 0.0))

    def grid(self, count: int) -> tuple[Floats, Floats]:
        """Proceeds and weights for numerical means over the law."""
        if self.sigma == 0.0:
            return np.array([self.median]), np.ones(1)
        score = np.linspace(-9.0, 9.0, count)
        weight = np.exp(-0.5 * score**2)
        return self.median * np.exp(self.sigma * score), weight / weight.sum()


@dataclass(frozen=True, eq=False)
class Margin:
    """Resale less cost, never under the salvage sum if there is one. [minor units].

    Parameters
    ----------
    resale
        What the sale brings.
    cost
        Everything that goes out except the price of the car.
    salvage
        Sum that letting the car go brings, net of what has been spent by then; None if no
        such way out is counted.
    log_cost_exponential
        ``rate -> ln E[exp(rate cost)]`` without a grid; used for the certainty equivalent.
    widened
        Variance that the grid has added to the cost by sharing amounts between neighbours. The
        same variance is taken from the resale before the two are put together, so that the
        margin's own is right; at most half of the resale's.
    """

    resale: Resale
    cost: Lattice
    salvage: float | None = None
    log_cost_exponential: Callable[[float], float] | None = None
    widened: float = 0.0

    @cached_property
    def _beside(self) -> Resale:
        """The resale that stands beside the widened cost."""
        whole = self.resale
        taken = min(self.widened, 0.5 * whole.variance)
        if taken <= 0.0:
            return whole
        sigma = math.sqrt(math.log1p((whole.variance - taken) / whole.mean**2))
        return Resale(whole.mean * math.exp(-0.5 * sigma**2), sigma)

    @cached_property
    def _cost(self) -> tuple[Floats, Floats]:
        held = self.cost.pmf > NEGLIGIBLE
        pmf = self.cost.pmf[held]
        return self.cost.points[held], pmf / pmf.sum()

    @cached_property
    def _rough(self) -> tuple[Floats, Floats]:
        return _coarser(*self._cost, ROUGH)

    @property
    def mended_mean(self) -> float:
        """Mean when the car is mended whatever comes."""
        return self.resale.mean - self.cost.mean

    @cached_property
    def mean(self) -> float:
        """Mean with the way out."""
        if self.salvage is None:
            return self.mended_mean
        return self.mended_mean + self._short(self.salvage)

    @property
    def let_go_share(self) -> float:
        """Chance that letting the car go is the better end."""
        return 0.0 if self.salvage is None else self._below(self.salvage)

    @cached_property
    def variance(self) -> float:
        """Variance with the way out (numerically over the resale law)."""
        if self.salvage is None:
            return self._beside.variance + self.cost.variance
        cost, pmf = self._cost
        cost, pmf = _coarser(cost, pmf, 512)
        proceeds, weight = self._beside.grid(361)
        left = np.maximum(proceeds[None, :] - cost[:, None], self.salvage)
        mean = float(pmf @ left @ weight)
        return float(pmf @ (left - mean) ** 2 @ weight)

    def share_below(self, amount: float) -> float:
        """Chance that the margin is below ``amount`` (or just there, which has no mass)."""
        if self.salvage is not None and amount <= self.salvage:
            return 0.0
        return self._below(amount)

    def quantile(self, share: float) -> float:
        """Margin that is undershot with this chance.

        Parameters
        ----------
        share
            Chance, above 0 and below 1.

        Returns
        -------
        float
            The quantile, to a hundredth of a minor unit.

        Raises
        ------
        BadEntry
            If the share is not above 0 and below 1.
        """
        if not 0.0 < share < 1.0:
            raise BadEntry(
                f"The chance is {share!r}; a number above 0 and below 1 was expected. 10 % is 0.1.",
                field="share",
                value=share,
                allowed="above 0, below 1",
            )
        cost, _ = self._cost
        low = self.resale.quantile(min(share, 1e-9) if share < 1e-6 else 1e-9) - float(cost[-1]) - 1.0
        high = self.resale.quantile(1.0 - 1e-9) - float(cost[0]) + 1.0
        rough_cost, rough_pmf = self._rough
        if len(rough_cost) < len(cost):
            # a quick look with few cost points narrows the bracket for the exact one
            def roughly(amount: float) -> float:
                return float(rough_pmf @ self._beside.share_below(rough_cost + amount))

            near = _reached(roughly, share, low, high)
            reach = 0.02 * self.cost.step * len(cost) / ROUGH
            while reach < high - low:
                ends = max(near - reach, low), min(near + reach, high)
                if self._below(ends[0]) <= share < self._below(ends[1]):
                    low, high = ends
                    break
                reach *= 8.0
        found = _reached(self._below, share, low, high)
        return found if self.salvage is None else max(found, self.salvage)

    def mean_of_lowest(self, share: float) -> float:
        """Mean over the worst ``share`` of outcomes (tail mean, CVaR).

        Parameters
        ----------
        share
            Part of the outcomes, above 0 and below 1.

        Returns
        -------
        float
            ``q - E[max(q - margin, 0)] / share`` at the quantile q.

        References
        ----------
        rockafellar-uryasev-2002, theorem 10.
        """
        border = self.quantile(share)
        short = self._short(border)
        if self.salvage is not None:
            short -= self._short(self.salvage)
        return border - short / share

    def certainty_equivalent(self, tolerance: float) -> float:
        """Sure sum worth as much as the margin under exponential utility.

        Parameters
        ----------
        tolerance
            Risk tolerance R, above 0. [minor units]

        Returns
        -------
        float
            ``-R ln E[exp(-margin / R)]``.

        Raises
        ------
        BadEntry
            If the tolerance is not above 0.
        CannotSay
            If a cost has too heavy a tail and no salvage sum bounds the loss.
        """
        if not (tolerance > 0 and math.isfinite(tolerance)):
            raise BadEntry(
                f"The risk tolerance is {tolerance!r}; an amount above 0 was expected.",
                field="tolerance",
                value=tolerance,
                allowed="above 0",
            )
        rate = 1.0 / tolerance
        proceeds, weight = self.resale.grid(2401)
        if self.salvage is None:
            least = float(proceeds[0])
            into = math.log(float(weight @ np.exp(-rate * (proceeds - least)))) - rate * least
            if self.log_cost_exponential is None:
                cost, pmf = self._cost
                out = float(np.log(pmf @ np.exp(rate * (cost - cost[-1]))) + rate * cost[-1])
            else:
                out = self.log_cost_exponential(rate)
            if not math.isfinite(out):
                raise CannotSay(
                    "No certainty equivalent exists: a cost has an upper tail so heavy that the "
                    "mean of exp(cost / tolerance) is infinite. Use gamma or bounded costs.",
                    missing="a cost law with a lighter tail",
                )
            return -tolerance * (into + out)
        proceeds, weight = self._beside.grid(361)
        cost, pmf = _coarser(*self._cost, 512)
        left = np.maximum(proceeds[None, :] - cost[:, None], self.salvage) - self.salvage
        return self.salvage - tolerance * math.log(float(pmf @ np.exp(-rate * left) @ weight))

    def _below(self, amount: float) -> float:
        cost, pmf = self._cost
        return float(pmf @ self._beside.share_below(cost + amount))

    def _short(self, amount: float) -> float:
        cost, pmf = self._cost
        return float(pmf @ self._beside.shortfall(cost + amount))


def _reached(rising: Callable[[float], float], share: float, low: float, high: float) -> float:
    if rising(high) <= share:
        return high
    while rising(low) > share:
        low -= high - low
    return crossing(lambda x: rising(x) - share, low, high, 1e-3)


def _coarser(cost: Floats, pmf: Floats, most: int) -> tuple[Floats, Floats]:
    """At most ``most`` cost points, neighbours joined at their mean."""
    if cost.size <= most:
        return cost, pmf
    edges = np.linspace(0, cost.size, most + 1).astype(int)[:-1]
    joined = np.add.reduceat(pmf, edges)
    return np.add.reduceat(pmf * cost, edges) / np.where(joined > 0, joined, 1.0), joined
