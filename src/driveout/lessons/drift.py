"""Whether a person's skill drifts: a level that may walk, watched through noise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from driveout.errors import BadEntry


@dataclass(frozen=True)
class Level:
    """Level after each observation.

    Parameters
    ----------
    means, variances
        Of the level, given the observations so far.
    log_likelihood
        Of all observations but those that only set the start.
    """

    means: tuple[float, ...]
    variances: tuple[float, ...]
    log_likelihood: float


def local_level(
    values: Sequence[float],
    noise_variance: float,
    drift_variance: float,
    start: tuple[float, float] | None = None,
) -> Level:
    """Filter a walking level from noisy values (Kalman filter of the local level model).

    Parameters
    ----------
    values
        Observations in order.
    noise_variance
        Variance of one observation around the level, above 0.
    drift_variance
        Variance of the level's step between observations; 0 for a fixed level.
    start
        Mean and variance of the level before the first value; None lets the first value set it.

    Returns
    -------
    Level
        With drift variance 0 this is the plain normal average.

    Raises
    ------
    BadEntry
        If there is no value or a variance is out of range.

    References
    ----------
    durbin-koopman, section 2.2; the Nile example.
    """
    if not values:
        raise BadEntry("There is no value to follow.", field="values", allowed="one or more")
    if noise_variance <= 0 or drift_variance < 0:
        raise BadEntry(
            f"Variances {noise_variance} and {drift_variance}: the first must be above 0, the second not below.",
            field="variance",
        )
    means: list[float] = []
    variances: list[float] = []
    total = 0.0
    rest = list(values)
    if start is None:
        mean, variance = float(rest.pop(0)), noise_variance
        means.append(mean)
        variances.append(variance)
        variance += drift_variance
    else:
        mean, variance = start
    for value in rest:
        spread = variance + noise_variance
        miss = value - mean
        total -= 0.5 * (math.log(2 * math.pi * spread) + miss * miss / spread)
        gain = variance / spread
        mean += gain * miss
        variance *= 1 - gain
        means.append(mean)
        variances.append(variance)
        variance += drift_variance
    return Level(tuple(means), tuple(variances), total)


def drift_share(values: Sequence[float], noise_variance: float) -> float:
    """Variance of the step between jobs that explains the order of the values best, over a coarse grid."""
    steps = [0.0, *(noise_variance * share for share in (0.001, 0.003, 0.01, 0.03, 0.1, 0.3))]
    return max(steps, key=lambda step: local_level(values, noise_variance, step).log_likelihood)


_WIDE, _HIGH, _EDGE = 360.0, 150.0, 8.0
_FIRST_DRAWN = 5


def drift_svg(path: Sequence[tuple[float, float, float]], words: str) -> str:
    """Draw how the typical factor moved job by job, with its band.

    Parameters
    ----------
    path
        Low, middle and high factor after each job, at least one.
    words
        What is measured, for the label.

    Returns
    -------
    str
        An SVG that scales to its place; the dashed line is 1, where estimates hold.
    """
    # The band of the first jobs is so wide that it would press all the rest flat.
    path = path[_FIRST_DRAWN - 1 :] or path
    low = min(1.0, *(one[0] for one in path))
    high = max(1.0, *(one[2] for one in path))
    scale = (_HIGH - 44) / ((high - low) or 1.0)

    def x(i: int) -> float:
        return _EDGE + (_WIDE - 2 * _EDGE) * i / max(len(path) - 1, 1)

    def y(factor: float) -> float:
        return _HIGH - 24 - (factor - low) * scale

    middle = " ".join(f"{x(i):.1f},{y(one[1]):.1f}" for i, one in enumerate(path))
    band = [f"{x(i):.1f},{y(one[2]):.1f}" for i, one in enumerate(path)]
    band += [f"{x(i):.1f},{y(path[i][0]):.1f}" for i in reversed(range(len(path)))]
    said = f"Typical factor of {words} from {path[0][1]:.2f} to {path[-1][1]:.2f} over {len(path)} jobs"
    return (
        f'<svg class="drift" width="440" viewBox="0 0 {_WIDE:.0f} {_HIGH:.0f}" role="img" aria-label="{said}">'
        f'<polygon points="{" ".join(band)}" fill="currentColor" fill-opacity="0.12"/>'
        f'<line x1="0" x2="{_WIDE:.0f}" y1="{y(1.0):.1f}" y2="{y(1.0):.1f}" stroke="currentColor" stroke-dasharray="3 3"/>'
        f'<polyline points="{middle}" fill="none" stroke="currentColor" stroke-width="2"/>'
        f'<text x="{_EDGE:.0f}" y="14" font-size="14">dashed: as estimated (1.00)</text>'
        f'<text x="{_EDGE:.0f}" y="{_HIGH - 6:.0f}" font-size="14">from job {_FIRST_DRAWN}</text>'
        f'<text x="{_WIDE - _EDGE:.0f}" y="{_HIGH - 6:.0f}" text-anchor="end" font-size="14">now {path[-1][1]:.2f}</text>'
        "</svg>"
    )
