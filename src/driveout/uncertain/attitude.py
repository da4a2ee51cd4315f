"""What an unsure amount is worth to someone who dislikes risk, and the worth of more news.

Exponential utility ``u(x) = -exp(-x / R)``: R is the risk tolerance, in money. Roughly: the
sum one would just stake at even odds to win it or lose half of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from driveout.errors import BadEntry, CannotSay
from driveout.uncertain.laws import Law


def certainty_equivalent(amounts: Sequence[float], chances: Sequence[float], tolerance: float) -> float:
    """Sure amount worth as much as a gamble over a few amounts.

    ``-R ln sum p exp(-x / R)``.

    Parameters
    ----------
    amounts
        What may come out.
    chances
        Chance of each amount, adding up to 1.
    tolerance
        Risk tolerance R, above 0, in the amounts' unit.

    Returns
    -------
    float
        The certainty equivalent, never above the mean.

    Raises
    ------
    BadEntry
        If the tolerance is not above 0 or the two lists do not match.

    References
    ----------
    clemen-reilly-hard-decisions, chapter on risk attitudes, three-outcome example.
    """
    _check_tolerance(tolerance)
    if len(amounts) != len(chances) or abs(math.fsum(chances) - 1.0) > 1e-9:
        raise BadEntry(
            f"There are {len(amounts)} amounts and {len(chances)} chances adding up to "
            f"{math.fsum(chances):g}; one chance each, adding up to 1, was expected.",
            field="chances",
            value=list(chances),
            allowed="sum 1",
        )
    least = min(amounts)
    inner = math.fsum(p * math.exp(-(x - least) / tolerance) for x, p in zip(amounts, chances, strict=True))
    return least - tolerance * math.log(inner)


def normal_certainty_equivalent(mean: float, deviation: float, tolerance: float) -> float:
    """``mean - deviation^2 / (2 R)``, exact when the amount is normal."""
    _check_tolerance(tolerance)
    return mean - deviation**2 / (2.0 * tolerance)


def worth_after_cost(amount: float, cost: Law, tolerance: float) -> float:
    """Certainty equivalent of a sure amount less an unsure cost.

    ``amount - R ln E[exp(cost / R)]``. For a gamma cost this is
    ``amount - shift + R k ln(1 - theta / R)`` and exists only while ``theta < R``.

    Parameters
    ----------
    amount
        What comes in for sure.
    cost
        Law of what goes out.
    tolerance
        Risk tolerance R, above 0.

    Returns
    -------
    float
        The certainty equivalent.

    Raises
    ------
    CannotSay
        If the cost's tail is too heavy for any finite answer: a lognormal cost always, a gamma
        cost whose scale reaches the tolerance.

    References
    ----------
    own-reasoning, docs/method/uncertain.md (why a lognormal cost has no certainty equivalent).
    """
    _check_tolerance(tolerance)
    inner = cost.exponential_mean(1.0 / tolerance)
    if not math.isfinite(inner):
        raise CannotSay(
            "No certainty equivalent exists: the cost's upper tail is so heavy that the mean of "
            "exp(cost / tolerance) is infinite. Use a gamma or bounded cost, or a larger "
            "tolerance, or one of the other rules.",
            missing="a cost law with a lighter tail",
        )
    return amount - tolerance * math.log(inner)


def unit_normal_loss(bar: float) -> float:
    """Mean of ``max(Z - bar, 0)`` for a standard normal Z: ``pdf(bar) - bar P(Z > bar)``."""
    density = math.exp(-0.5 * bar * bar) / math.sqrt(2.0 * math.pi)
    return density - bar * 0.5 * math.erfc(bar / math.sqrt(2.0))


def worth_of_noisy_look(mean: float, deviation: float, noise: float) -> float:
    """What a noisy measurement of a normal margin is worth before a yes-or-no decision.

    ``s L(|mean| / s)`` with ``s = deviation^2 / sqrt(deviation^2 + noise^2)``, the spread that
    the updated mean will have; no noise gives the worth of knowing for sure.

    Parameters
    ----------
    mean
        Expected margin of saying yes; no is worth 0.
    deviation
        Standard deviation of the margin, above 0.
    noise
        Standard deviation of the measurement error, 0 or more.

    Returns
    -------
    float
        Expected gain from looking, 0 or more, in the margin's unit.

    References
    ----------
    raiffa-schlaifer-1961, unit normal linear loss integral.
    """
    spread = deviation**2 / math.hypot(deviation, noise)
    return spread * unit_normal_loss(abs(mean) / spread)


def _check_tolerance(tolerance: float) -> None:
    if not (tolerance > 0 and math.isfinite(tolerance)):
        raise BadEntry(
            f"The risk tolerance is {tolerance!r}; an amount of money above 0 was expected.",
            field="tolerance",
            value=tolerance,
            allowed="above 0",
        )
