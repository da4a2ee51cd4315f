"""What the person's earlier comparables, of other models, teach about how fast cars lose value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from driveout.market.columns import TEN_THOUSAND_MILES_KM
from driveout.market.comparables import Comparable
from driveout.market.prior import Prior
from driveout.market.regression import Floats, fit_lines

# With fewer a model says next to nothing on its slopes.
LEAST_CARS = 5
MOST_CARS = 300
# The shipped slopes are a mean over so many models; see data/prior.toml.
SHIPPED_MODELS = 6


@dataclass(frozen=True)
class ModelEvidence:
    """What one model's comparables say of its slopes of age and distance.

    Attributes
    ----------
    information
        Weighted cross products of the centred columns over the squared scale, 2 by 2.
    pull
        The same of columns and log price, 2.
    """

    information: Floats
    pull: Floats


def evidence_of(comparables: Sequence[Comparable], on: date, prior: Prior) -> ModelEvidence | None:
    """Evidence of one model, from its comparables with a distance and a clean title; None when too few.

    Parameters
    ----------
    comparables
        Comparables of one model.
    on
        Day that ages are told for when a comparable has no day of its own.
    prior
        Prior of the fit that finds which prices lie off the line and how far prices scatter.

    Returns
    -------
    ModelEvidence or None
        Cross products.
    """
    used = [c for c in comparables if c.mileage_km is not None and c.title_status == "clean"][:MOST_CARS]
    if len(used) < LEAST_CARS:
        return None
    x = np.array([[c.age_on(on), (c.mileage_km or 0.0) / TEN_THOUSAND_MILES_KM] for c in used])
    paid = prior.of("sold")[0]
    y = np.array([np.log(float(c.price.major)) - paid * (c.kind == "sold") for c in used])
    fit = fit_lines(
        y,
        x,
        np.ones((1, len(used))),
        _mean(prior),
        np.asarray(np.linalg.inv(_covariance(prior)), dtype=float),
        noise_scale=prior.noise_scale,
        noise_freedom=prior.noise_freedom,
        tail_freedom=prior.tail_freedom,
    )
    weights, noise = fit.weights[0], float(fit.noise[0])
    xc, yc = x - fit.centre[0], y - fit.level[0]
    return ModelEvidence((xc.T * weights) @ xc / noise, (xc.T * weights) @ yc / noise)


def with_own_models(base: Prior, models: Sequence[ModelEvidence]) -> Prior:
    """Prior whose mean slopes have moved towards the person's own models; its spread stays.

    Slopes of models are taken to scatter normally about a mean, with the shipped spread; the shipped
    mean is worth six models. Each own model then moves the mean by its credibility: a model of many cars
    of different age counts nearly as one more of the six, one that says little counts little.

    Parameters
    ----------
    base
        The shipped prior.
    models
        Evidence of each own model.

    Returns
    -------
    Prior
        The base with the means of age and distance moved, and told how many models moved it.

    References
    ----------
    own-reasoning, docs/method/value.md, what other models of one's own add.
    """
    between = np.linalg.inv(_covariance(base))
    precision = SHIPPED_MODELS * between
    total = precision @ _mean(base)
    for model in models:
        # (T + V)^-1 without the inverse of a model's own information, which may be singular.
        inner = np.linalg.inv(between + model.information)
        precision = precision + between - between @ inner @ between
        total = total + between @ inner @ model.pull
    mean = np.linalg.solve(precision, total)
    return replace(base, age_mean=float(mean[0]), mileage_mean=float(mean[1]), own_models=len(models))


def _mean(prior: Prior) -> Floats:
    return np.array([prior.age_mean, prior.mileage_mean])


def _covariance(prior: Prior) -> Floats:
    both = prior.age_mileage_correlation * prior.age_sd * prior.mileage_sd
    return np.array([[prior.age_sd**2, both], [both, prior.mileage_sd**2]])
