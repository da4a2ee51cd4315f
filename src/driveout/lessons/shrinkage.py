"""How far a group's own average is trusted when there are several groups like it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry, CannotSay

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Between:
    """Exact normal algebra for group averages around a common centre.

    Parameters
    ----------
    log_evidence
        Log density of the averages, up to a constant of the data. [per grid point]
    centre, centre_variance
        Posterior of the common centre. [per grid point]
    group, group_variance
        Posterior of each group's own level. [group, per grid point]
    """

    log_evidence: Floats
    centre: Floats
    centre_variance: Floats
    group: Floats
    group_variance: Floats


def between_groups(
    averages: Floats, variances: Floats, spread_variance: Floats, *, prior_mean: float, prior_precision: float
) -> Between:
    """Posterior of a common centre and of every group's level, the rest integrated out exactly.

    ``average_k ~ N(level_k, variances_k)``, ``level_k ~ N(centre, spread_variance)``,
    ``centre ~ N(prior_mean, 1 / prior_precision)``.

    Parameters
    ----------
    averages
        Observed average of each group. [group, ...]
    variances
        Its sampling variance, above 0. [group, ...]
    spread_variance
        Variance between groups. [... without group]
    prior_mean
        Centre's prior mean.
    prior_precision
        1 / its variance; 0 for a flat prior.

    Returns
    -------
    Between
        Per grid point.

    References
    ----------
    rubin-eight-schools; own-reasoning, docs/method/lessons.md.
    """
    precision = 1.0 / (spread_variance + variances)
    total = prior_precision + precision.sum(axis=0)
    pull = precision * averages
    weighted = prior_precision * prior_mean + pull.sum(axis=0)
    centre = weighted / total
    fit = prior_precision * prior_mean**2 + (pull * averages).sum(axis=0) - weighted * centre
    # The product of a few precisions stays far from underflow, and one logarithm is cheaper than many.
    evidence = 0.5 * log_product(precision) - 0.5 * np.log(total) - 0.5 * fit
    own = spread_variance * precision
    return Between(
        log_evidence=evidence,
        centre=centre,
        centre_variance=1.0 / total,
        group=(1.0 - own) * centre + own * averages,
        group_variance=own * variances + (1.0 - own) ** 2 / total,
    )


def log_product(values: Floats) -> Floats:
    """Logarithm of the product over groups."""
    if len(values) <= 20:
        return np.asarray(np.log(values.prod(axis=0)))
    return np.asarray(np.log(values).sum(axis=0))


def trust_in_own_average(values: Sequence[float], variance: float) -> float:
    """Share by which each value's distance from the common mean should be believed.

    ``1 - (k - 3) variance / sum((value - mean)^2)``, not below 0: the estimate of Stein with the
    mean estimated from the same values.

    Parameters
    ----------
    values
        At least 4 values of the same kind.
    variance
        Sampling variance of each.

    Returns
    -------
    float
        0 believe only the common mean, 1 believe only the value itself.

    Raises
    ------
    CannotSay
        If there are fewer than 4 values.
    BadEntry
        If the variance is below 0.

    References
    ----------
    efron-morris-1977, the formula for c.
    """
    if len(values) < 4:
        raise CannotSay(
            f"{len(values)} values are too few to judge how alike they are; 4 are needed.", missing="values"
        )
    if variance < 0:
        raise BadEntry(
            f"A variance of {variance} is below 0.", field="variance", value=variance, allowed="0 or more"
        )
    mean = math.fsum(values) / len(values)
    scatter = math.fsum((value - mean) ** 2 for value in values)
    return max(0.0, 1.0 - (len(values) - 3) * variance / scatter) if scatter > 0 else 0.0
