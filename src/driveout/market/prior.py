"""What is believed about prices before the first comparable is read, and how finished models change it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

import numpy as np

from driveout.errors import BadEntry
from driveout.files import shipped
from driveout.market.regression import Floats, fit_lines


@dataclass(frozen=True)
class Prior:
    """Prior slopes of log price and prior noise; the shipped one is `default_prior`.

    Attributes
    ----------
    age_mean, age_sd
        Per year of age.
    mileage_mean, mileage_sd
        Per 10,000 miles.
    age_mileage_correlation
        Between the two slopes.
    noise_scale, noise_freedom
        Standard deviation of one price within a model, and how many cars that belief is worth.
    tail_freedom
        Student-t degrees of freedom of one price.
    spec_sd
        Spread of the effect of an extra number, per standard deviation of it.
    effects
        (mean, sd) of ``sold``, ``drift``, ``season``, ``season turn``, ``condition``, ``rebuilt``, ``salvage``, ``buyback``.
    own_models
        Models of the person's own that moved the slopes.
    """

    age_mean: float
    age_sd: float
    mileage_mean: float
    mileage_sd: float
    age_mileage_correlation: float
    noise_scale: float
    noise_freedom: float
    tail_freedom: float
    spec_sd: float
    effects: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    own_models: int = 0

    def of(self, column: str) -> tuple[float, float]:
        """Mean and standard deviation of the slope of one column."""
        if column == "age":
            return self.age_mean, self.age_sd
        if column == "mileage":
            return self.mileage_mean, self.mileage_sd
        return self.effects.get(column, (0.0, self.spec_sd))


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(shipped("driveout.market", "data/prior.toml").decode())


@cache
def default_prior() -> Prior:
    """The shipped prior: ``data/prior.toml``, each number with its source there."""
    t = _table()
    return Prior(
        age_mean=t["age"]["mean"],
        age_sd=t["age"]["sd"],
        mileage_mean=t["mileage"]["mean"],
        mileage_sd=t["mileage"]["sd"],
        age_mileage_correlation=t["age_mileage_correlation"]["mean"],
        noise_scale=t["noise"]["mean"],
        noise_freedom=t["noise"]["degrees_of_freedom"],
        tail_freedom=t["noise_tail"]["degrees_of_freedom"],
        spec_sd=t["spec"]["sd"],
        effects={
            name: (t[name]["mean"], t[name]["sd"])
            for name in ("sold", "drift", "condition", "rebuilt", "salvage", "buyback")
        }
        | {name: (t["season"]["mean"], t["season"]["sd"]) for name in ("season", "season turn")},
    )


@cache
def condition_steps() -> dict[str, int]:
    """Words for condition and their steps from ordinary."""
    return {word: steps for word, steps in _table()["condition_steps"].items() if isinstance(steps, int)}


def interval_factor(comparables: int) -> float:
    """By how much the 80 % interval is wider than the line's own, learnt on other models.

    Prices scatter with heavier tails than the many-car limit of the line's interval allows for.
    Between the measured numbers of comparables it runs straight in one over their number.

    Parameters
    ----------
    comparables
        How many are used, at least one.

    Returns
    -------
    float
        1 with few comparables, towards the ratio of the tails' and the normal law's 90 % points.

    References
    ----------
    own-slopes-of-six-models, docs/method/value.md, how wide.
    """
    t = _table()["interval"]
    return float(np.interp(1 / comparables, [1 / n if n else 0.0 for n in t["comparables"]], t["factor"]))


def learned_prior(models: Sequence[tuple[Floats, Floats]], base: Prior | None = None) -> Prior:
    """Prior slopes of age and mileage from other models that the person has prices of.

    Each model is fitted by itself without any prior; the mean and the spread between models
    become the prior. Needs three models to say anything on the spread; the noise prior stays,
    because a smaller learnt one was found to give intervals that are too short.

    Parameters
    ----------
    models
        Per model: log prices (n) and columns age in years and distance in 10,000 miles (n by 2).
    base
        Prior whose other parts stay.

    Returns
    -------
    Prior
        The base with age and mileage replaced.

    Raises
    ------
    BadEntry
        With fewer than three models of five cars.
    """
    base = base or default_prior()
    usable = [(y, x) for y, x in models if len(y) >= 5]
    if len(usable) < 3:
        raise BadEntry(
            f"{len(usable)} models with five or more prices are too few to learn a prior from; three are needed.",
            field="models",
            value=len(usable),
            allowed="three or more",
        )
    slopes = np.array(
        [
            fit_lines(
                y, x, np.ones((1, len(y))), np.zeros(2), np.zeros((2, 2)), noise_freedom=0, tail_freedom=None
            ).slopes[0]
            for y, x in usable
        ]
    )
    sd = slopes.std(axis=0, ddof=1)
    correlation = float(np.corrcoef(slopes.T)[0, 1])
    return replace(
        base,
        age_mean=float(slopes[:, 0].mean()),
        mileage_mean=float(slopes[:, 1].mean()),
        age_sd=float(sd[0]),
        mileage_sd=float(sd[1]),
        age_mileage_correlation=float(np.clip(correlation, -0.9, 0.9)),
    )
