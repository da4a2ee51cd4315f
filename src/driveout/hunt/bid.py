"""What to offer a seller whose least price is not known, and what to offer next.

A higher offer is accepted more often, leaves less, and is accepted above all by sellers who
know that the car is worth no more: that last part is the lemons term.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from driveout.errors import BadEntry

Floats = NDArray[np.float64]

#: the seller's least price beside the asking price: common practice, no source
LEAST_PRICE_SHARE, LEAST_PRICE_SPREAD = 0.88, 0.06
#: how far seller's knowledge and worth go together: common practice, no source
SELLER_KNOWS = 0.3
GRID = 801


class LeastPrice(Protocol):
    """Belief about the least price that a seller takes."""

    def cdf(self, x: ArrayLike) -> Floats:
        """Chance that an offer of ``x`` is accepted."""
        ...

    def quantile(self, share: float) -> float:
        """Offer that is accepted with this chance."""
        ...


@dataclass(frozen=True)
class Logistic:
    """A least price around ``centre``, with the given ``scale`` (its P10-P90 is 4.4 scales)."""

    centre: float
    scale: float

    def __post_init__(self) -> None:
        if not self.scale > 0:
            raise BadEntry(
                f"The spread of the seller's least price is {self.scale!r}; it must be above 0.",
                field="scale",
                value=self.scale,
                allowed="above 0",
            )

    def cdf(self, x: ArrayLike) -> Floats:
        """Chance that an offer of ``x`` is accepted."""
        from scipy.special import expit

        return np.asarray(expit((np.asarray(x, dtype=float) - self.centre) / self.scale))

    def quantile(self, share: float) -> float:
        """Offer that is accepted with this chance."""
        from scipy.special import logit

        return float(self.centre + self.scale * logit(share))


def least_price_from_asking(asking: float) -> Logistic:
    """Belief about the seller's least price when only the asking price is known."""
    return Logistic(LEAST_PRICE_SHARE * asking, LEAST_PRICE_SPREAD * asking)


@dataclass(frozen=True)
class Bid:
    """An offer and what it brings on average. [minor units].

    Parameters
    ----------
    amount
        The offer.
    chance
        Chance that it is accepted.
    gain
        Expected gain of making it.
    worth_if_accepted
        Worth of the car, given that the seller accepts.
    lemons_term
        How much less that is than its worth before the answer.
    """

    amount: float
    chance: float
    gain: float
    worth_if_accepted: float
    lemons_term: float


def best_bid(
    worth_if_accepted: Callable[[Floats], Floats],
    accepted: Callable[[Floats], Floats],
    low: float,
    high: float,
    *,
    worth: float | None = None,
) -> Bid:
    """Offer with the greatest expected gain: ``max_b F(b) (E[worth | accepted at b] - b)``.

    Parameters
    ----------
    worth_if_accepted
        Expected worth given that an offer is accepted, for an array of offers.
    accepted
        Chance that an offer is accepted, for an array of offers.
    low
        Least and greatest offer to consider; the same for the gain of one given offer.
    high
        Least and greatest offer to consider; the same for the gain of one given offer.
    worth
        Worth before any answer, for the lemons term; taken at ``high`` when left out.

    Returns
    -------
    Bid
        The best offer; ``low``, and a gain of 0, when nothing above it gains.

    References
    ----------
    samuelson-bazerman-1985; own-reasoning, docs/method/ceiling.md.
    """
    left, right = low, high
    for _ in range(5):  # each round looks 400 times closer around the best offer so far
        offers = np.linspace(left, right, GRID)
        chance = accepted(offers)
        with np.errstate(invalid="ignore"):
            gains = np.where(chance > 0, chance * (worth_if_accepted(offers) - offers), 0.0)
        at = int(np.argmax(gains))
        left, right = float(offers[max(at - 1, 0)]), float(offers[min(at + 1, GRID - 1)])
    if gains[at] <= 0.0 and low < high:
        return Bid(low, float(accepted(np.array([low]))[0]), 0.0, math.nan, 0.0)
    offer = offers[at : at + 1]
    given = float(worth_if_accepted(offer)[0])
    before = float(worth_if_accepted(np.array([high]))[0]) if worth is None else worth
    return Bid(float(offer[0]), float(chance[at]), float(gains[at]), given, before - given)


def bid_against_least_price(
    worth: float,
    worth_spread: float,
    seller: LeastPrice,
    *,
    seller_knows: float = SELLER_KNOWS,
    most: float | None = None,
) -> Bid:
    """Best offer when the seller may know more about the car.

    The worth goes with the seller's least price by ``seller_knows`` (a correlation of normal
    scores), so that ``E[worth | accepted at b] = worth - rho sd pdf(z) / cdf(z)`` at the normal
    score z of the chance of acceptance.

    Parameters
    ----------
    worth
        Expected worth to the buyer: the certainty equivalent or the wage price. [minor units]
    worth_spread
        Standard deviation of what the seller may know. [minor units]
    seller
        Belief about the least price.
    seller_knows
        Correlation, 0 (knows nothing more) to below 1.
    most
        Greatest offer allowed, for example the walk-away price; the worth if left out.

    Returns
    -------
    Bid
        The best offer, 0 when none gains.

    Raises
    ------
    BadEntry
        If the correlation is not from 0 to below 1.
    """
    _check_correlation(seller_knows)
    top = worth if most is None else min(worth, most)
    if top <= 0:
        return Bid(0.0, 0.0, 0.0, math.nan, 0.0)

    def given(offers: Floats) -> Floats:
        chance = seller.cdf(offers)
        with np.errstate(divide="ignore", invalid="ignore"):
            return worth - seller_knows * worth_spread * _score_density(chance) / chance

    return best_bid(given, seller.cdf, 0.0, top, worth=worth)


def logistic_bid(worth: float, centre: float, scale: float) -> float:
    """Best offer in closed form when the least price is logistic and there is no lemons term.

    ``b = V - s (1 + W(exp((V - c - s) / s)))`` with Lambert's W.

    Parameters
    ----------
    worth
        Worth V of the car to the buyer.
    centre
        Centre c and scale s of the least price; s above 0.
    scale
        Centre c and scale s of the least price; s above 0.

    Returns
    -------
    float
        The offer.

    References
    ----------
    own-reasoning, docs/method/ceiling.md (first-order condition solved by Lambert's W).
    """
    from scipy.special import lambertw

    power = (worth - centre - scale) / scale
    if power > 500.0:  # W(exp x) by Newton on w + ln w = x
        w = power - math.log(power)
        for _ in range(30):
            w -= (w + math.log(w) - power) / (1.0 + 1.0 / w)
        return worth - scale * (1.0 + w)
    return worth - scale * (1.0 + float(lambertw(math.exp(power)).real))


def counter_ladder(
    worth: float,
    worth_spread: float,
    seller: LeastPrice,
    *,
    steps: int = 3,
    stays: float = 0.85,
    seller_knows: float = SELLER_KNOWS,
    most: float | None = None,
    refused: float | None = None,
    asked: float | None = None,
) -> tuple[Bid, ...]:
    """Offers to make one after the other, each after a refusal of the one before.

    A refusal says that the least price is above the offer; a price the seller names says that
    it is not above that. The whole ladder is chosen together, by dynamic programming on a grid
    of offers, so the first step knows that there may be a second.

    Parameters
    ----------
    worth
        Expected worth to the buyer. [minor units]
    worth_spread
        Standard deviation of what the seller may know. [minor units]
    seller
        Belief about the least price.
    steps
        How many offers there may be, 1 or more.
    stays
        Chance that the seller goes on talking after a refusal.
    seller_knows
        Correlation of worth and least price, 0 to below 1.
    most
        Greatest offer allowed; the worth if left out.
    refused
        Highest offer refused so far.
    asked
        Lowest price the seller has named so far.

    Returns
    -------
    tuple[Bid, ...]
        Rising offers; chances and gains count from the start of the ladder. Empty when no
        offer gains.

    Raises
    ------
    BadEntry
        If ``steps``, ``stays`` or the correlation lie outside their range.
    """
    _check_correlation(seller_knows)
    if steps < 1 or not 0.0 <= stays <= 1.0:
        raise BadEntry(
            f"The ladder has {steps} steps and a chance {stays!r} to go on; 1 step or more and a "
            "chance from 0 to 1 were expected.",
            field="steps",
            value=steps,
            allowed="1 or more",
        )
    top = min(x for x in (worth, most, asked) if x is not None)
    low = 0.0 if refused is None else refused
    if top <= low:
        return ()
    offers = np.linspace(low, top, GRID)
    chance = seller.cdf(offers)
    ceiling = 1.0 if asked is None else float(seller.cdf(asked))
    floor = 0.0 if refused is None else float(seller.cdf(refused))
    span = max(ceiling - floor, 1e-12)
    density = _score_density(chance)
    # worth on average over sellers whose least price lies under each offer, times their share
    held = (worth * chance - seller_knows * worth_spread * density) / span
    reach = (chance - floor) / span
    held = held - (worth * floor - seller_knows * worth_spread * _score_density(np.array([floor]))[0]) / span
    later = np.zeros(GRID)
    picks = []
    for _ in range(steps):
        step = (held[None, :] - held[:, None]) - offers[None, :] * (reach[None, :] - reach[:, None])
        total = np.where(
            np.arange(GRID)[None, :] > np.arange(GRID)[:, None], step + stays * later[None, :], 0.0
        )
        best = np.argmax(total, axis=1)
        later = np.maximum(total[np.arange(GRID), best], 0.0)
        picks.append(np.where(later > 0.0, best, -1))
    ladder, at, odds = [], 0, 1.0
    for pick in reversed(picks):
        nxt = int(pick[at])
        if nxt < 0 or nxt <= at:
            break
        share = float(reach[nxt] - reach[at])
        brought = float(held[nxt] - held[at])
        given = brought / share if share > 0 else math.nan
        ladder.append(
            Bid(
                float(offers[nxt]),
                odds * share,
                odds * (brought - float(offers[nxt]) * share),
                given,
                worth - given if share > 0 else 0.0,
            )
        )
        at, odds = nxt, odds * stays
    return tuple(ladder)


def _score_density(chance: Floats) -> Floats:
    from scipy.special import ndtri

    score = ndtri(np.clip(chance, 1e-300, 1.0 - 1e-16))
    return np.asarray(np.exp(-0.5 * score**2) / math.sqrt(2.0 * math.pi))


def _check_correlation(value: float) -> None:
    if not 0.0 <= value < 1.0:
        raise BadEntry(
            f"What the seller knows is {value!r}; a number from 0 to below 1 was expected.",
            field="seller_knows",
            value=value,
            allowed="0 to below 1",
        )
