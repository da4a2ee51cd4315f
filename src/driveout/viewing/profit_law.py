"""What may come out when a plan is followed, with its chances."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from driveout.errors import BadEntry


@dataclass(frozen=True)
class ProfitLaw:
    """Profit of following the plan, as the list of what may come out.

    Parameters
    ----------
    amounts
        Possible profits in rising order. [money]
    chances
        Chance of each.
    """

    amounts: tuple[float, ...]
    chances: tuple[float, ...]

    @property
    def mean(self) -> float:
        """Expected profit, in money."""
        return float(np.dot(self.amounts, self.chances))

    def _moment(self, order: int) -> float:
        return float(np.dot((np.array(self.amounts) - self.mean) ** order, self.chances))

    @property
    def variance(self) -> float:
        """Variance of the profit, in money squared."""
        return self._moment(2)

    @property
    def sd(self) -> float:
        """Standard deviation of the profit, in money."""
        return sqrt(self.variance)

    @property
    def skewness(self) -> float:
        """Third standardised moment; 0 if the profit is certain."""
        return self._moment(3) / self.sd**3 if self.sd > 0.0 else 0.0

    @property
    def excess_kurtosis(self) -> float:
        """Fourth standardised moment less 3; 0 if the profit is certain."""
        return self._moment(4) / self.variance**2 - 3.0 if self.sd > 0.0 else 0.0

    def quantile(self, share: float) -> float:
        """Least amount that is not exceeded with at least this chance.

        Parameters
        ----------
        share
            Chance, from 0 to 1.

        Returns
        -------
        float
            The quantile. [money]

        Raises
        ------
        BadEntry
            If ``share`` is outside 0 to 1.
        """
        if not 0.0 <= share <= 1.0:
            raise BadEntry(
                f"The share {share} is outside 0 to 1.", field="share", value=share, allowed="0 to 1"
            )
        reached = np.cumsum(self.chances)
        place = int(np.searchsorted(reached, share - 1e-12))
        return self.amounts[min(place, len(self.amounts) - 1)]

    @property
    def chance_of_loss(self) -> float:
        """Chance of a profit below 0."""
        return float(sum(c for a, c in zip(self.amounts, self.chances, strict=True) if a < 0.0))
