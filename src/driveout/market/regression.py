"""Straight-line fits with prior slopes, unknown noise and heavy tails; many leave-one-out fits at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

ROUNDS = 25


@dataclass(frozen=True)
class Fits:
    """Result of B fits of the same rows under B sets of row weights; first axis B.

    Attributes
    ----------
    level, centre
        Weighted mean of y and of the columns; the line goes through them.
    slopes, spread
        Posterior mean and covariance of the slopes given the noise.
    noise
        Squared scale of the noise.
    freedom
        Rows left over after the fit plus the prior's own degrees of freedom.
    weights
        Final weight of each row; a row far off the line has a small one.
    """

    level: Floats
    centre: Floats
    slopes: Floats
    spread: Floats
    noise: Floats
    freedom: Floats
    weights: Floats

    def at(self, x: Floats) -> Floats:
        """Fitted y at a row (p,) or at one row per fit (B, p)."""
        return np.asarray(self.level + np.einsum("bp,bp->b", x - self.centre, self.slopes), dtype=float)

    def variance_at(self, x: Floats) -> Floats:
        """Squared scale of a new observation at a row (p,) or at one row per fit (B, p)."""
        away = x - self.centre
        total = self.weights.sum(axis=1)
        return np.asarray(
            self.noise * (1 + 1 / total) + np.einsum("bp,bpq,bq->b", away, self.spread, away), dtype=float
        )

    @property
    def intercept(self) -> Floats:
        """Fitted y where all columns are 0."""
        return self.at(np.zeros(self.centre.shape[1]))


def fit_lines(
    y: Floats,
    x: Floats,
    present: Floats,
    slope_mean: Floats,
    slope_precision: Floats,
    *,
    noise_scale: float = 0.14,
    noise_freedom: float = 3.0,
    tail_freedom: float | None = 4.0,
    rounds: int = ROUNDS,
) -> Fits:
    """Fit straight lines with a flat intercept, normal prior slopes and Student-t errors.

    Weights by expectation-maximisation; the noise has a scaled inverse chi-square prior. With
    no prior (precision 0, ``noise_freedom`` 0, ``tail_freedom`` None) it is ordinary least squares.

    Parameters
    ----------
    y
        Observed values, n.
    x
        Columns, n by p.
    present
        Row weights of each fit, B by n; 0 leaves a row out.
    slope_mean
        Prior mean of the slopes, p.
    slope_precision
        Inverse of their prior covariance, p by p.
    noise_scale
        Prior scale of one observation; of its Student-t when ``tail_freedom`` is given.
    noise_freedom
        How many observations that prior is worth.
    tail_freedom
        Degrees of freedom of one observation's Student-t; None for normal errors.
    rounds
        Rounds of re-weighting.

    Returns
    -------
    Fits
        One line per row of ``present``.

    References
    ----------
    student-t-regression, section 5 (weights); own-reasoning, docs/method/value.md.

    Examples
    --------
    >>> import numpy as np
    >>> line = fit_lines(np.array([1.0, 3.0, 5.0]), np.array([[0.0], [1.0], [2.0]]), np.ones((1, 3)),
    ...                  np.zeros(1), np.zeros((1, 1)), noise_freedom=0, tail_freedom=None)
    >>> float(line.slopes[0, 0])
    2.0
    """
    rows = (present > 0).sum(axis=1)
    columns = x.shape[1]
    off = y - x @ slope_mean
    start = np.array([np.median(off[row > 0]) for row in present])
    noise = np.full(len(present), noise_scale**2)
    weights = present * _tail_weights(off[None, :] - start[:, None], noise, tail_freedom)
    for _ in range(1 if tail_freedom is None and not slope_precision.any() else rounds):
        total = weights.sum(axis=1)
        level = weights @ y / total
        centre = weights @ x / total[:, None]
        xc = x[None, :, :] - centre[:, None, :]
        yc = y[None, :] - level[:, None]
        wx = xc * weights[:, :, None]
        gram = np.swapaxes(xc, 1, 2) @ wx
        pull = np.einsum("bnp,bn->bp", wx, yc)
        # In units of the noise, so that no prior at all leaves the plain normal equations.
        lhs = slope_precision[None] * noise[:, None, None] + gram
        inverse = np.linalg.inv(lhs) if columns else lhs
        slopes = np.einsum(
            "bpq,bq->bp", inverse, (slope_precision @ slope_mean)[None] * noise[:, None] + pull
        )
        used = 1 + np.einsum("bpq,bqp->b", inverse, gram)
        residual = yc - np.einsum("bnp,bp->bn", xc, slopes)
        squares = (weights * residual**2).sum(axis=1)
        left = np.maximum(rows - used, 1.0 if noise_freedom else 1e-9)
        old = noise
        noise = (noise_freedom * noise_scale**2 + squares) / (noise_freedom + left)
        spread = inverse * old[:, None, None]
        if tail_freedom is not None:
            weights = present * _tail_weights(residual, noise, tail_freedom)
        if np.allclose(noise, old, rtol=1e-10):
            break
    if tail_freedom is None and not slope_precision.any():
        spread = inverse * noise[:, None, None]
    return Fits(level, centre, slopes, spread, noise, noise_freedom + left, weights)


def _tail_weights(residual: Floats, noise: Floats, tail_freedom: float | None) -> Floats:
    if tail_freedom is None:
        return np.ones_like(residual)
    return np.asarray((tail_freedom + 1) / (tail_freedom + residual**2 / noise[:, None]), dtype=float)
