"""The next estimate of a kind of work, in the light of how earlier ones came out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from driveout.lessons.bias import HOURS, PRIOR, Bias, Job, Prior, fit
from driveout.lessons.estimate import RESERVE, EstimateLine
from driveout.uncertain import ThreePoint

_REACH = 1.2815515655446004  # standard normal P90
# The spread a person states counts as much as this many finished jobs.
_STATED_SPREAD_JOBS = 5.0


def corrected(kind: str, points: ThreePoint, bias: Bias) -> ThreePoint:
    """Shift and widen (or narrow) an estimate by what a bias says.

    Parameters
    ----------
    kind
        Kind of work or cost.
    points
        The person's low / likely / high, not below 0.
    bias
        What was learned.

    Returns
    -------
    ThreePoint
        All three moved by the typical overrun of the kind; their spread drawn from the stated one
        towards the experienced one as jobs add up.
    """
    if bias.jobs + sum(bias.unfinished) == 0 or points.high <= 0:
        return points
    ratio = bias.forecast(kind)
    factor = math.exp(ratio.log_mean)
    likely = points.likely * factor
    if points.low <= 0 or points.is_sure:
        stated = 0.0 if points.is_sure else ratio.log_sd
    else:
        stated = math.log(points.high / points.low) / (2 * _REACH)
    seen = float(bias.jobs)
    spread = math.sqrt(
        (_STATED_SPREAD_JOBS * stated**2 + seen * ratio.log_sd**2) / (_STATED_SPREAD_JOBS + seen)
    )
    if points.is_sure:
        # Only one number was said: its spread is what experience gives, as a lognormal around it.
        return ThreePoint(
            likely * math.exp(-_REACH * spread),
            likely * math.exp(-(spread**2)),
            likely * math.exp(_REACH * spread),
        )
    if points.low <= 0:
        return points.times(factor)
    power = spread / stated
    return ThreePoint(
        likely * (points.low / points.likely) ** power,
        likely,
        likely * (points.high / points.likely) ** power,
    )


def next_estimate(
    kind: str, three_point: ThreePoint, history: Sequence[Job], *, measure: str = HOURS, prior: Prior = PRIOR
) -> ThreePoint:
    """Estimate of the next job of a kind after the lessons of earlier ones.

    Parameters
    ----------
    kind
        Kind of work (hours) or of cost (money).
    three_point
        What the person says now.
    history
        Earlier jobs; only those of the measure count.
    measure
        ``hours``, ``money`` or ``days``.
    prior
        Belief before the first job.

    Returns
    -------
    ThreePoint
        Without history exactly what the person said.

    References
    ----------
    own-reasoning, docs/method/lessons.md.
    """
    jobs = tuple(job for job in history if job.measure == measure)
    return corrected(kind, three_point, fit(jobs, prior)) if jobs else three_point


def with_learned(
    lines: Sequence[EstimateLine], hours: Bias | None, money: Bias | None
) -> tuple[EstimateLine, ...]:
    """Note on each line of an outlook's estimate by how much lessons have moved it.

    Parameters
    ----------
    lines
        The estimate as the outlook makes it: lines of repairs are moved by their kind of work and
        the kind ``parts``, hours outside the work only once they were booked on an own car.
    hours
        What was learned of own hours; None when nothing yet.
    money
        What was learned of money; None when nothing yet.

    Returns
    -------
    tuple of EstimateLine
        The same lines with their factors.
    """
    found = []
    for line in lines:
        is_repair = bool(line.kind_of_work) and line.kind_of_work not in (line.key, RESERVE)
        booked_before = hours is not None and line.kind_of_work in hours.kinds
        moved = replace(
            line,
            hours_learned=_factor(hours, line.kind_of_work)
            if line.hours and line.kind_of_work != RESERVE and (is_repair or booked_before)
            else 1.0,
            money_learned=_factor(money, line.kind) if line.money and is_repair else 1.0,
        )
        found.append(moved)
    return tuple(found)


def _factor(bias: Bias | None, kind: str) -> float:
    if bias is None or bias.jobs + sum(bias.unfinished) == 0:
        return 1.0
    return math.exp(bias.forecast(kind).log_mean)
