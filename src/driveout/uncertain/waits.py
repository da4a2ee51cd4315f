"""The wait for an event of unsure rate, cut off at a last day."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driveout.errors import BadEntry
from driveout.uncertain.laws import gauss

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Wait:
    """``min(T, most)`` with T exponential at a rate that is itself gamma (Lomax law).

    The chance of still waiting after t is ``(scale / (scale + t))^shape``: the posterior
    predictive wait after ``shape`` events in ``scale`` units of time.

    Parameters
    ----------
    shape
        Events that the knowledge of the rate is worth, above 0.
    scale
        Time in which they came, above 0.
    most
        Longest wait; then something else is done, above 0.
    """

    shape: float
    scale: float
    most: float

    def __post_init__(self) -> None:
        for name in ("shape", "scale", "most"):
            value = getattr(self, name)
            if not (value > 0.0 and math.isfinite(value)):
                raise BadEntry(
                    f"The {name} of a wait is {value!r}; it must be above 0.",
                    field=name,
                    value=value,
                    allowed="above 0",
                )

    def still_waiting(self, time: ArrayLike) -> Floats:
        """Chance of a longer wait than ``time`` if nothing cuts it off."""
        given = np.maximum(np.asarray(time, dtype=float), 0.0)
        return np.asarray((self.scale / (self.scale + given)) ** self.shape)

    @cached_property
    def mean(self) -> float:
        """Area under the chance of still waiting, up to the last day."""
        return float(self._area(0.0))

    @cached_property
    def variance(self) -> float:
        """From the mean square, ``2 int t S(t) dt``, by a 96-point Gauss rule."""
        node, weight = gauss()
        time = 0.5 * self.most * (node + 1.0)
        square = float(np.sum(weight * 2.0 * time * self.still_waiting(time))) * 0.5 * self.most
        return max(square - self.mean**2, 0.0)

    @property
    def least(self) -> float:
        """It may come at once."""
        return 0.0

    def cdf(self, x: ArrayLike) -> Floats:
        """Share at or below ``x``."""
        given = np.asarray(x, dtype=float)
        inside = np.where(given < 0.0, 0.0, 1.0 - self.still_waiting(given))
        return np.asarray(np.where(given >= self.most, 1.0, inside))

    def quantile(self, share: float) -> float:
        """Value that ``share`` of the outcomes do not exceed."""
        if not 0.0 <= share <= 1.0:
            raise BadEntry(
                f"The share is {share!r}; a number from 0 to 1 was expected. 10 % is written 0.1.",
                field="share",
                value=share,
                allowed="0 to 1",
            )
        if share == 1.0:
            return self.most
        return min(float(self.scale) * math.expm1(-math.log1p(-share) / self.shape), self.most)

    def excess(self, bar: ArrayLike) -> Floats:
        """Mean of ``max(X - bar, 0)``."""
        given = np.asarray(bar, dtype=float)
        over = self._area(np.clip(given, 0.0, self.most))
        return np.asarray(over + np.maximum(-given, 0.0))

    def exponential_mean(self, rate: float) -> float:
        """``1 + rate int exp(rate t) S(t) dt`` up to the last day, by a 96-point Gauss rule."""
        node, weight = gauss()
        time = 0.5 * self.most * (node + 1.0)
        area = float(np.sum(weight * np.exp(rate * time) * self.still_waiting(time))) * 0.5 * self.most
        return 1.0 + rate * area

    def sample(self, rng: np.random.Generator, count: int) -> Floats:
        """Independent draws."""
        drawn = rng.exponential(size=count) / rng.gamma(self.shape, 1.0 / self.scale, size=count)
        return np.minimum(drawn, self.most)

    def _area(self, start: ArrayLike) -> Floats:
        """Integral of the chance of still waiting from ``start`` to the last day."""
        since, last = 1.0 + np.asarray(start, dtype=float) / self.scale, 1.0 + self.most / self.scale
        if abs(self.shape - 1.0) < 1e-9:
            return np.asarray(self.scale * np.log(last / since))
        power = 1.0 - self.shape
        return np.asarray(self.scale / -power * (since**power - last**power))
