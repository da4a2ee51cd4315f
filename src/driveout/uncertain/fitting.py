"""From low / likely / high to a law that has exactly that P10, that mode and that P90."""

from __future__ import annotations

from functools import cache, lru_cache

from driveout.errors import BadEntry
from driveout.uncertain.laws import Bounded, Fixed, Floored, Gamma, Law, Lognormal
from driveout.uncertain.root import crossing
from driveout.uncertain.three_point import HIGH_SHARE, LOW_SHARE, ThreePoint

#: the lean below which the two right-tailed laws are told apart from the symmetric limit
RIGHT_TAIL_LEAN = 0.4999
#: shape of the bounded law: rise + fall = 6, the weight that PERT gives the likely value
BOUNDED_WEIGHT = 4.0

KINDS = ("lognormal", "gamma", "bounded", "tail")


@lru_cache(maxsize=65536)
def fitted(points: ThreePoint, kind: str = "tail", floor: float | None = 0.0) -> Law:
    """The law of a kind whose P10, mode and P90 are the three given points.

    Lognormal and gamma carry a shift, so that three conditions meet three unknowns; the
    bounded law has ``rise = 1 + 4 t, fall = 5 - 4 t`` with ``t`` the place of the mode in the
    interval, and both interval ends are solved. The ratio ``(likely - low) / (high - low)``
    depends on the shape alone and falls steadily, which leaves one bracketed root.

    Parameters
    ----------
    points
        Low, likely, high.
    kind
        ``lognormal``, ``gamma``, ``bounded``, or ``tail``: gamma where the range leans right,
        bounded where it does not.
    floor
        Amounts below it count as the floor (a cost under 0 does not happen); none if the
        amount may lie anywhere. Used only where ``points.low`` is not under it.

    Returns
    -------
    Law
        A law with exactly these three points; `Fixed` when all three are equal.

    Raises
    ------
    BadEntry
        If the kind is unknown or cannot take such a lean.

    References
    ----------
    own-reasoning, docs/method/uncertain.md.
    """
    if kind not in KINDS:
        raise BadEntry(
            f"The law {kind!r} is not known; choose one of {', '.join(KINDS)}.",
            field="law",
            value=kind,
            allowed=", ".join(KINDS),
        )
    if points.is_sure:
        return Fixed(points.likely)
    if kind == "tail":
        kind = "gamma" if points.lean < RIGHT_TAIL_LEAN else "bounded"
    if kind == "bounded":
        law: Law = _bounded(points)
    else:
        if points.lean >= RIGHT_TAIL_LEAN:
            raise BadEntry(
                f"The likely value {points.likely:g} lies in the upper half of "
                f"{points.low:g} to {points.high:g}; a {kind} law always leans to low. "
                "Use the bounded law for such a range.",
                field="likely",
                value=points.likely,
                allowed=f"under {0.5 * (points.low + points.high):g} for this law",
                fix="Use the bounded law.",
            )
        law = _lognormal(points) if kind == "lognormal" else _gamma(points)
    if floor is not None and points.low >= floor and law.least < floor:
        return Floored(law, floor)
    return law


def _lognormal(points: ThreePoint) -> Law:
    import numpy as np
    from scipy.special import ndtri

    reach = float(ndtri(HIGH_SHARE))

    def lean(sigma: float) -> float:
        low, high = np.exp(-reach * sigma), np.exp(reach * sigma)
        return float((np.exp(-(sigma**2)) - low) / (high - low))

    sigma = crossing(lambda s: lean(s) - points.lean, 1e-6, reach)
    scale = (points.high - points.low) / float(np.exp(reach * sigma) - np.exp(-reach * sigma))
    shift = points.low - scale * float(np.exp(-reach * sigma))
    return Lognormal(float(np.log(scale)), sigma, shift)


def _gamma(points: ThreePoint) -> Law:
    import numpy as np
    from scipy.special import gammaincinv

    def ends(log_shape: float) -> tuple[float, float, float]:
        shape = float(np.exp(log_shape))
        low, high = gammaincinv(shape, [LOW_SHARE, HIGH_SHARE])
        return float(low), shape - 1.0, float(high)

    def lean(log_shape: float) -> float:
        low, mode, high = ends(log_shape)
        return (mode - low) / (high - low)

    log_shape = crossing(lambda s: lean(s) - points.lean, 0.0, 30.0)
    low, _, high = ends(log_shape)
    scale = (points.high - points.low) / (high - low)
    return Gamma(float(np.exp(log_shape)), scale, points.low - scale * low)


@cache
def _bounded_ends(place: float) -> tuple[float, float]:
    from scipy.special import betaincinv

    rise, fall = 1.0 + BOUNDED_WEIGHT * place, 1.0 + BOUNDED_WEIGHT * (1.0 - place)
    low, high = betaincinv(rise, fall, [LOW_SHARE, HIGH_SHARE])
    return float(low), float(high)


def _bounded(points: ThreePoint) -> Law:
    def lean(place: float) -> float:
        low, high = _bounded_ends(place)
        return (place - low) / (high - low)

    place = crossing(lambda t: lean(t) - points.lean, 0.0, 1.0)
    low, high = _bounded_ends(place)
    width = (points.high - points.low) / (high - low)
    start = points.low - width * low
    return Bounded(start, start + width, 1.0 + BOUNDED_WEIGHT * place, 1.0 + BOUNDED_WEIGHT * (1.0 - place))
