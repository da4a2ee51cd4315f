"""What a repair adds to a car's value, with its doubt."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from driveout.errors import BadEntry
from driveout.market.appraisal import Z80
from driveout.market.prior import default_prior
from driveout.units import Money, minor_digits


class Valued(Protocol):
    """A value with its spread, as just made or as kept."""

    @property
    def value(self) -> Money:
        """Middle of the value."""

    @property
    def log_mean(self) -> float:
        """Mean of its logarithm."""

    @property
    def log_sd(self) -> float:
        """Spread of its logarithm."""

    @property
    def condition_step(self) -> tuple[float, float] | None:
        """Log price of one step of condition and its spread; None when no car stated one."""


@dataclass(frozen=True, slots=True)
class Uplift:
    """What a repair adds to the value: mean, standard deviation and 80 % interval."""

    mean: Money
    sd: Money
    low: Money
    high: Money
    because: str


def repair_adds(
    appraisal: Valued, *, condition_steps_up: float = 0.0, share: tuple[float, float, float] | None = None
) -> Uplift:
    """What a repair adds to a car's value, with its doubt.

    Either steps of condition, whose worth the comparables and the prior give, or a share of the
    value typed as low, likely, high (10 %, most likely, 90 %). Value and share are taken as
    independent.

    Parameters
    ----------
    appraisal
        The value without the repair's fault, from `appraise`.
    condition_steps_up
        Steps of condition the repair lifts the car by.
    share
        Share of the value the fault takes away, low, likely, high.

    Returns
    -------
    Uplift
        Amount with its doubt.

    Raises
    ------
    BadEntry
        If neither is given, or the shares do not rise within 0 to 1.

    References
    ----------
    own-reasoning, docs/method/value.md, what a repair adds.
    """
    if share is not None:
        low, likely, high = share
        if not 0 <= low <= likely <= high <= 1:
            raise BadEntry(
                f"The shares {low:g}, {likely:g}, {high:g} must rise and lie within 0 and 1.",
                field="share",
                value=str(share),
                allowed="0 to 1, rising",
            )
        # Three-point approximation with 10 % and 90 % points (Pearson-Tukey weights for P10, P50, P90).
        mean = 0.3 * low + 0.4 * likely + 0.3 * high
        variance = 0.3 * (low - mean) ** 2 + 0.4 * (likely - mean) ** 2 + 0.3 * (high - mean) ** 2
        because = f"the fault takes {low:.0%} to {high:.0%} of the value, likely {likely:.0%}, as typed"
    elif condition_steps_up:
        step = appraisal.condition_step
        learned = "common practice, no source" if step is None else "from the comparables and common practice"
        prior_mean, prior_sd = step or default_prior().of("condition")
        mu, sigma = prior_mean * condition_steps_up, prior_sd * abs(condition_steps_up)
        mean = math.exp(mu + sigma**2 / 2) - 1
        variance = math.exp(2 * mu + sigma**2) * math.expm1(sigma**2)
        because = (
            f"{condition_steps_up:g} step(s) of condition at {math.expm1(prior_mean):.0%} each ({learned})"
        )
    else:
        raise BadEntry(
            "Say what the repair does: steps of condition, or the share of the value the fault takes away."
        )
    value_mean = math.exp(appraisal.log_mean + appraisal.log_sd**2 / 2)
    value_square = math.exp(2 * appraisal.log_mean + 2 * appraisal.log_sd**2)
    total = value_mean * mean
    sd = math.sqrt(max(value_square * (variance + mean**2) - total**2, 0.0))
    currency = appraisal.value.currency

    def money(amount: float) -> Money:
        return Money(round(Decimal(amount) * 10 ** minor_digits(currency)), currency)

    floor = 0.0 if mean >= 0 else -math.inf
    return Uplift(
        money(total), money(sd), money(max(total - Z80 * sd, floor)), money(total + Z80 * sd), because
    )
