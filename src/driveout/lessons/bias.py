"""A person's own bias: how far jobs of each kind run over or under what was estimated."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry
from driveout.lessons.shrinkage import Between, between_groups, log_product

Floats = NDArray[np.float64]

HOURS = "hours"
MONEY = "money"
DAYS = "days"
MEASURES = (HOURS, MONEY, DAYS)
# Bounds and size of the grid over the two spreads. The upper bound on the job spread keeps every
# mean of a forecast finite; a spread without bound would make the mean overrun infinite.
_SPREADS_BETWEEN_JOBS = np.geomspace(0.08, 1.2, 29)
_SPREADS_BETWEEN_KINDS = np.concatenate([[0.01], np.geomspace(0.03, 1.0, 24)])
_LEAST_WEIGHT = 1e-5
_SWEEPS = 8
# Factors that move the level by less than this share of a job's spread have settled.
_STILL = 1e-5
_LEAST_PRECISION = 1e-9
# A drift is looked for only where so many jobs stand beyond the first of each kind.
_LEAST_FOR_DRIFT = 3
_LEAST_SCATTER = 0.01
# Width of the bell laid on each own error, as a share of the spread between jobs.
_BELL = 0.35


@dataclass(frozen=True)
class Job:
    """One piece of work or one cost: what was said before, what it became.

    Parameters
    ----------
    kind
        Kind of work or cost.
    estimate
        Middle of the estimate made beforehand, above 0.
    actual
        What it became, above 0; for an unfinished job what it has reached so far.
    finished
        False when the work goes on: then the actual is only a lower bound.
    measure
        ``hours``, ``money`` or ``days``.
    weight
        How much it counts: 1 for an own job, less for somebody else's that was taken in.
    """

    kind: str
    estimate: float
    actual: float
    finished: bool = True
    measure: str = HOURS
    weight: float = 1.0

    def __post_init__(self) -> None:
        if not 0.0 < self.weight <= 1.0:
            raise BadEntry(
                f"A weight of {self.weight} is outside 0 to 1.",
                field="weight",
                value=self.weight,
                allowed="above 0, at most 1",
            )
        for name, value in (("estimate", self.estimate), ("actual", self.actual)):
            if not (math.isfinite(value) and value > 0):
                raise BadEntry(
                    f"The {name} of a {self.kind!r} job is {value}; it must be above 0 to be compared.",
                    field=name,
                    value=value,
                    allowed="above 0",
                )
        if self.measure not in MEASURES:
            raise BadEntry(
                f"{self.measure!r} is not a measure.",
                field="measure",
                value=self.measure,
                allowed=", ".join(MEASURES),
            )

    @property
    def is_own(self) -> bool:
        """Whether it is the person's own."""
        return self.weight == 1.0

    @property
    def log_ratio(self) -> float:
        """ln(actual / estimate): above 0 when it took more."""
        return math.log(self.actual / self.estimate)


@dataclass(frozen=True)
class Prior:
    """What is believed about any person's estimates before the first job.

    Parameters
    ----------
    mean
        Usual ln(actual / estimate). 0 says neither over nor under, so that a first job which
        comes out as estimated changes nothing. Reviews of software projects found overruns near
        0.2; in simulation starting from 0.2 instead changes the score by less than one percent.
    sd
        How far persons differ from each other.
    job_spread
        Scale of the half-normal prior of the spread between jobs of one kind.
    kind_spread
        Scale of the half-normal prior of the spread between kinds of work.
    drift_sd
        How far skill may move from one job to the next, as ln(actual / estimate); 0 keeps it still.
    shape_jobs
        The bell curve of errors counts as much as so many own jobs; infinite keeps it alone.
    """

    mean: float = 0.0
    sd: float = 0.3
    job_spread: float = 0.5
    kind_spread: float = 0.3
    drift_sd: float = 0.004
    shape_jobs: float = 12.0


PRIOR = Prior()


@dataclass(frozen=True)
class Ratio:
    """Forecast of actual / estimate: a finite mixture of lognormals.

    Parameters
    ----------
    weights
        Shares, adding up to 1.
    means, sds
        Mean and standard deviation of the logarithm of each part.
    """

    weights: Floats
    means: Floats
    sds: Floats

    @property
    def log_mean(self) -> float:
        """Mean of ln ratio."""
        return float(self.weights @ self.means)

    @property
    def log_sd(self) -> float:
        """Standard deviation of ln ratio."""
        second = self.weights @ (self.sds**2 + self.means**2)
        return math.sqrt(max(float(second) - self.log_mean**2, 0.0))

    @property
    def mean(self) -> float:
        """Mean ratio, always finite."""
        return float(self.weights @ np.exp(self.means + 0.5 * self.sds**2))

    def cdf(self, ratio: float) -> float:
        """Share of jobs at or below a ratio."""
        from scipy.special import ndtr

        return float(self.weights @ ndtr((math.log(ratio) - self.means) / self.sds)) if ratio > 0 else 0.0

    def quantile(self, share: float) -> float:
        """Ratio that a share of jobs does not exceed."""
        from scipy.special import ndtr, ndtri

        if not 0 < share < 1:
            raise BadEntry(
                f"A share of {share} is outside 0 to 1.", field="share", value=share, allowed="0 to 1"
            )
        at = self.means + self.sds * float(ndtri(share))
        low, high = float(at.min()), float(at.max())
        x = self.log_mean + self.log_sd * float(ndtri(share))
        for _ in range(60):
            scaled = (x - self.means) / self.sds
            gap = float(self.weights @ ndtr(scaled)) - share
            low, high = (low, x) if gap > 0 else (x, high)
            slope = float(self.weights @ (np.exp(-0.5 * scaled**2) / self.sds)) / math.sqrt(2 * math.pi)
            step = gap / slope if slope > 0 else math.inf
            if abs(step) < 1e-12 or high - low < 1e-13:
                break
            x = x - step if low < x - step < high else 0.5 * (low + high)
        return math.exp(x)

    def crps(self, actual: float) -> float:
        """Continuous ranked probability score of an observed ratio, exact for the mixture."""
        from scipy.special import ndtr

        m, s, w = self.means, self.sds, self.weights
        lift = np.exp(m + 0.5 * s**2)
        z = (math.log(actual) - m) / s
        to_actual = float(w @ (actual * (2 * ndtr(z) - 1) + lift * (1 - 2 * ndtr(z - s))))
        both = np.sqrt(s[:, None] ** 2 + s[None, :] ** 2)
        larger = lift[:, None] * ndtr((m[:, None] - m[None, :] + s[:, None] ** 2) / both)
        # E|X - X'| = 2 E max - E X - E X', and the two halves of E max are mirror images.
        among = 4 * float(w @ larger @ w) - 2 * float(w @ lift)
        return to_actual - 0.5 * among


@dataclass(frozen=True)
class Bias:
    """What a history of jobs says about the person's estimates.

    Parameters
    ----------
    kinds
        Kinds of work met so far.
    counts
        Finished jobs of each kind.
    unfinished
        Unfinished jobs of each kind.
    prior
        Prior used.
    weights
        Posterior weight of each pair of spreads.
    job_variance, kind_variance
        The pairs.
    posterior
        Normal posteriors at each pair.
    drift
        Change of ln(actual / estimate) from one own job to the next.
    drift_variance
        What not knowing it better adds to a forecast.
    own_errors
        Kind and ln ratio of each own finished job, brought to today's skill.
    """

    kinds: tuple[str, ...]
    counts: tuple[int, ...]
    unfinished: tuple[int, ...]
    prior: Prior
    weights: Floats
    job_variance: Floats
    kind_variance: Floats
    posterior: Between = field(repr=False)
    drift: float = 0.0
    drift_variance: float = 0.0
    own_errors: tuple[NDArray[np.int_], Floats] | None = field(default=None, repr=False)

    @cached_property
    def _kept(self) -> NDArray[np.bool_]:
        return np.asarray(self.weights > _LEAST_WEIGHT * self.weights.max())

    @property
    def jobs(self) -> int:
        """Finished jobs of all kinds."""
        return sum(self.counts)

    def forecast(self, kind: str) -> Ratio:
        """Forecast ratio of the next job of a kind; a kind never met borrows from all others."""
        weights, job, mean, variance = self._level_parts(kind)
        bell = Ratio(weights, mean, np.sqrt(variance + job + self.drift_variance))
        errors = self._errors
        if errors is None:
            return bell
        share = len(errors) / (len(errors) + self.prior.shape_jobs)
        spread = math.sqrt(float(weights @ job))
        middle, around = self.level(kind)
        return Ratio(
            np.concatenate([(1 - share) * weights, np.full(len(errors), share / len(errors))]),
            np.concatenate([bell.means, middle + spread * math.sqrt(1 - _BELL**2) * errors]),
            np.concatenate(
                [
                    bell.sds,
                    np.full(len(errors), math.sqrt(around**2 + self.drift_variance + (_BELL * spread) ** 2)),
                ]
            ),
        )

    def level(self, kind: str) -> tuple[float, float]:
        """Mean and standard deviation of the kind's own ln ratio, without the scatter of single jobs."""
        weights, _, mean, variance = self._level_parts(kind)
        inner = Ratio(weights, mean, np.sqrt(np.maximum(variance, 1e-18)))
        return inner.log_mean, inner.log_sd

    def _level_parts(self, kind: str) -> tuple[Floats, Floats, Floats, Floats]:
        """Weight, job variance, mean and variance of the kind's level at each pair of spreads kept."""
        keep = self._kept
        weights = self.weights[keep] / self.weights[keep].sum()
        job, spread = self.job_variance[keep], self.kind_variance[keep]
        post = self.posterior
        if kind in self.kinds:
            k = self.kinds.index(kind)
            return weights, job, post.group[k, keep], post.group_variance[k, keep]
        return weights, job, post.centre[keep], post.centre_variance[keep] + spread

    @cached_property
    def _errors(self) -> Floats | None:
        """Own errors around each kind's level, mean 0 and standard deviation 1."""
        if self.own_errors is None or not math.isfinite(self.prior.shape_jobs):
            return None
        kinds, ratios = self.own_errors
        if len(ratios) < 2:
            return None
        errors = ratios - (self.posterior.group @ self.weights)[kinds]
        errors = errors - errors.mean()
        size = math.sqrt(float(errors @ errors) / (len(errors) - 1))
        return np.asarray(errors / size) if size > 1e-9 else None


def _grid() -> tuple[Floats, Floats]:
    job, kind = np.meshgrid(_SPREADS_BETWEEN_JOBS, _SPREADS_BETWEEN_KINDS, indexing="ij")
    return job.ravel(), kind.ravel()


@lru_cache(maxsize=8)
def _grid_with_prior(prior: Prior) -> tuple[Floats, Floats, Floats]:
    """Spreads squared and the log prior weight of each pair, the cell widths included."""
    job, kind = _grid()
    cells = np.outer(np.gradient(_SPREADS_BETWEEN_JOBS), np.gradient(_SPREADS_BETWEEN_KINDS)).ravel()
    log_prior = np.log(cells) - 0.5 * (job / prior.job_spread) ** 2 - 0.5 * (kind / prior.kind_spread) ** 2
    return job**2, kind**2, log_prior


def fit(jobs: Sequence[Job], prior: Prior = PRIOR) -> Bias:
    """Learn the person's bias from finished and unfinished jobs of one measure.

    ln(actual/estimate) of a job is normal around its kind's own level; levels are normal around
    the person's own habit; both spreads stand on a grid of 29 by 25 values, everything else is
    exact algebra. An unfinished job only says "at least this much": its likelihood is the share
    above, met by a normal factor with the same moments (expectation propagation), so that long
    jobs still under way are not forgotten. Own jobs are first brought to today's skill by a drift
    drawn towards 0; the errors of the forecast take the shape of the own ones as jobs add up.

    Parameters
    ----------
    jobs
        The history of one measure, oldest first.
    prior
        Belief before the first job.

    Returns
    -------
    Bias
        Deterministic; no random draws.

    References
    ----------
    own-reasoning, docs/method/lessons.md; moloekken-joergensen-2003 for the prior mean.
    """
    job_variance, kind_variance, log_prior = _grid_with_prior(prior)
    places: dict[str, int] = {}
    for job in jobs:
        places.setdefault(job.kind, len(places))
    size = len(places)
    done = [job for job in jobs if job.finished]
    kinds = np.array([places[job.kind] for job in done], dtype=int)
    ratios = np.array([job.log_ratio for job in done])
    shares = np.array([job.weight for job in done])
    own = shares == 1.0
    drift, drift_variance = 0.0, 0.0
    if prior.drift_sd > 0:
        drift, drift_variance, moved = _drift(kinds[own], ratios[own], size, prior.drift_sd)
        ratios[own] -= moved
    counts = np.bincount(kinds, shares, size) if len(done) else np.zeros(size)
    sums = np.bincount(kinds, shares * ratios, size) if len(done) else np.zeros(size)
    square = float(shares @ ratios**2)
    open_kind = [places[job.kind] for job in jobs if not job.finished]
    open_at = [job.log_ratio for job in jobs if not job.finished]
    precision = counts[:, None] / job_variance
    pull = sums[:, None] / job_variance
    evidence = log_prior - 0.5 * counts.sum() * np.log(job_variance) - 0.5 * square / job_variance
    if open_at:
        precision, pull, extra = _with_unfinished(
            precision, pull, np.array(open_kind), np.array(open_at), job_variance, kind_variance, prior
        )
        evidence = evidence + extra
    post, between = _levels(precision, pull, kind_variance, prior)
    evidence = evidence + between
    weights = np.exp(evidence - evidence.max())
    return Bias(
        kinds=tuple(places),
        counts=tuple(np.bincount(kinds[own], minlength=size).tolist()),
        unfinished=tuple(open_kind.count(k) for k in range(size)),
        prior=prior,
        weights=weights / weights.sum(),
        job_variance=job_variance,
        kind_variance=kind_variance,
        posterior=post,
        drift=drift,
        drift_variance=drift_variance,
        own_errors=(kinds[own], ratios[own]),
    )


def _drift(kinds: NDArray[np.int_], ratios: Floats, size: int, sd: float) -> tuple[float, float, Floats]:
    """Common slope over the order of the jobs, drawn towards 0; variance it leaves; what to take off.

    Only differences inside one kind speak for it, so that a change of work is not taken for a
    change of skill.
    """
    many = len(ratios)
    met = np.bincount(kinds, minlength=size)
    if many - np.count_nonzero(met) < _LEAST_FOR_DRIFT:
        return 0.0, 0.0, np.zeros(many)
    before = np.arange(many) - float(many)
    per = np.maximum(met, 1)
    x = before - (np.bincount(kinds, before, size) / per)[kinds]
    z = ratios - (np.bincount(kinds, ratios, size) / per)[kinds]
    reach, both = float(x @ x), float(x @ z)
    raw = both / reach
    scatter = max((float(z @ z) - raw * both) / (many - np.count_nonzero(met) - 1 or 1), _LEAST_SCATTER)
    variance = 1.0 / (1.0 / sd**2 + reach / scatter)
    slope = variance * both / scatter
    return slope, variance * float(before.mean()) ** 2, np.asarray(slope * before)


def _levels(precision: Floats, pull: Floats, kind_variance: Floats, prior: Prior) -> tuple[Between, Floats]:
    """Posterior of centre and levels from each kind's summed likelihood, with its log evidence."""
    safe = np.maximum(precision, _LEAST_PRECISION)
    averages = pull / safe
    post = between_groups(
        averages, 1.0 / safe, kind_variance, prior_mean=prior.mean, prior_precision=1.0 / prior.sd**2
    )
    constant = 0.5 * (pull * averages).sum(axis=0) - 0.5 * log_product(safe)
    return post, post.log_evidence + constant


def _with_unfinished(
    precision: Floats,
    pull: Floats,
    kinds: NDArray[np.int_],
    reached: Floats,
    job_variance: Floats,
    kind_variance: Floats,
    prior: Prior,
) -> tuple[Floats, Floats, Floats]:
    """Add one normal factor per unfinished job, matched to the share of outcomes above what it reached."""
    from scipy.special import log_ndtr

    size = len(reached)
    site_precision = np.zeros((size, len(job_variance)))
    site_pull = np.zeros_like(site_precision)
    log_scale = np.zeros_like(site_precision)
    total_p, total_h = precision.copy(), pull.copy()
    for _ in range(_SWEEPS):
        moved = 0.0
        for c in range(size):
            k = kinds[c]
            post, _ = _levels(total_p, total_h, kind_variance, prior)
            variance = 1.0 / np.maximum(1.0 / post.group_variance[k] - site_precision[c], _LEAST_PRECISION)
            mean = variance * (post.group[k] / post.group_variance[k] - site_pull[c])
            width = np.sqrt(job_variance + variance)
            z = (mean - reached[c]) / width
            log_share = log_ndtr(z)
            ratio = np.exp(-0.5 * z * z - log_share) / math.sqrt(2 * math.pi)
            new_mean = mean + variance * ratio / width
            new_variance = variance * (1.0 - variance * ratio * (z + ratio) / width**2)
            p = np.maximum(1.0 / new_variance - 1.0 / variance, _LEAST_PRECISION)
            h = new_mean / new_variance - mean / variance
            total_p[k] += p - site_precision[c]
            total_h[k] += h - site_pull[c]
            moved = max(moved, float(np.abs((h - site_pull[c]) * variance / width).max()))
            site_precision[c], site_pull[c] = p, h
            grown = 1.0 + p * variance
            inside = (h * h * variance + 2 * h * mean - p * mean * mean) / (2 * grown)
            log_scale[c] = log_share + 0.5 * np.log(grown) - inside
        if moved < _STILL:
            break
    return total_p, total_h, np.asarray(log_scale.sum(axis=0))
