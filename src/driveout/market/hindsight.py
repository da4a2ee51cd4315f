"""What finished sales say of the values: how often the price fell inside, and how far off the middle was."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from driveout.errors import BadEntry
from driveout.market.appraisal import Z80
from driveout.units import Money, minor_digits

# Before any sale: no correction, give or take 5 %; widths as they are, worth ten sales. own reasoning.
OFF_SD = 0.05
WIDTH_WORTH = 10.0


@dataclass(frozen=True, slots=True)
class SoldAfter:
    """A sale and the value that was told before it.

    Attributes
    ----------
    log_mean, log_sd
        Normal law of the logarithm of the price, as the appraisal told it, in major units.
    sold
        What the car brought.
    name
        Which car.
    """

    log_mean: float
    log_sd: float
    sold: Money
    name: str = ""

    def __post_init__(self) -> None:
        if self.sold.minor <= 0 or not self.log_sd > 0 or not math.isfinite(self.log_mean):
            raise BadEntry(
                f"A sale at {self.sold.text()} cannot be held against a value with spread {self.log_sd:g}. "
                "Both must be above 0.",
                field="sold",
                value=self.sold.text(),
                allowed="above 0",
            )

    @property
    def off(self) -> float:
        """Logarithm of the price less the middle that was told."""
        price = self.sold.minor / 10 ** minor_digits(self.sold.currency)
        return math.log(price) - self.log_mean

    @property
    def is_inside(self) -> bool:
        """Whether the price fell into the 80 % interval that was told."""
        return abs(self.off) <= Z80 * self.log_sd

    @property
    def share_below(self) -> float:
        """Chance that had been given to a price as low as this; even over 0 to 1 when values are honest."""
        return 0.5 * math.erfc(-self.off / self.log_sd / math.sqrt(2))


@dataclass(frozen=True, slots=True)
class Hindsight:
    """What sales so far say of the values.

    Attributes
    ----------
    n, inside
        Sales, and how many fell into their 80 % interval.
    inside_low, inside_high
        80 % interval of the share that does so in the long run.
    off_share, off_low, off_high
        Price over value less 1, shrunk towards 0, with its 80 % interval.
    width_factor
        By how much the intervals should be wider (above 1) or narrower, shrunk towards 1.
    lines
        The same in words.
    """

    n: int
    inside: int
    inside_low: float
    inside_high: float
    off_share: float
    off_low: float
    off_high: float
    width_factor: float
    lines: tuple[str, ...]


def hindsight(sales: Sequence[SoldAfter]) -> Hindsight:
    """Hold the values that were told against what cars brought.

    The share inside has a beta posterior from a flat prior in the arc sine (one half, one half);
    the offset is a normal mean with known spreads and a prior of 0 give or take 5 %; the width is the
    root of the mean squared miss in units of the told spread, with ten misses of 1 thrown in.

    Parameters
    ----------
    sales
        One per sold car that had a value before; none is allowed.

    Returns
    -------
    Hindsight
        Numbers and words; nothing is changed by it.

    References
    ----------
    own-reasoning, docs/method/value.md, what sales teach.
    """
    from scipy.special import betaincinv  # heavy: only when asked

    n, inside = len(sales), sum(sale.is_inside for sale in sales)
    low, high = (float(betaincinv(inside + 0.5, n - inside + 0.5, share)) for share in (0.1, 0.9))
    precision = 1 / OFF_SD**2 + sum(sale.log_sd**-2 for sale in sales)
    mean = sum(sale.off * sale.log_sd**-2 for sale in sales) / precision
    half = Z80 / math.sqrt(precision)
    squares = sum((sale.off / sale.log_sd) ** 2 for sale in sales)
    width = math.sqrt((WIDTH_WORTH + squares) / (WIDTH_WORTH + n))
    off_share, off_low, off_high = (math.expm1(value) for value in (mean, mean - half, mean + half))
    lines = (
        _in_words(n, inside, low, high, off_share, off_low, off_high)
        if n
        else ("No car was sold that had a value before; nothing can be said of the values yet.",)
    )
    return Hindsight(n, inside, low, high, off_share, off_low, off_high, width, lines)


def _in_words(
    n: int, inside: int, low: float, high: float, off: float, off_low: float, off_high: float
) -> tuple[str, ...]:
    said = [
        f"{inside} of {n} sale{'' if n == 1 else 's'} fell into the interval told before; 8 of 10 should. "
        f"In the long run {low:.0%} to {high:.0%} do."
    ]
    if off_low <= 0 <= off_high:
        said.append(
            f"Cars brought {abs(off):.1%} {'more' if off >= 0 else 'less'} than the value, which may be chance "
            f"({off_low:+.1%} to {off_high:+.1%})."
        )
    else:
        said.append(
            f"Cars brought {abs(off):.1%} {'more' if off > 0 else 'less'} than the value ({off_low:+.1%} to "
            f"{off_high:+.1%}): the step from asking to paid, or the choice of comparables, leans one way."
        )
    if high < 0.8:
        said.append("The intervals are too narrow for this market; trust their middle less.")
    return tuple(said)
