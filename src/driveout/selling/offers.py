"""One offer: accept, counter or decline, and what each of the other answers would give away."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from driveout.errors import BadEntry
from driveout.selling.believed import SaleNumbers
from driveout.selling.programme import solve
from driveout.selling.situation import SaleSituation
from driveout.selling.stopping import exponential_excess, value_of_offers
from driveout.units import Money

Answer = Literal["accept", "counter", "decline"]
ANSWERS: tuple[Answer, ...] = ("accept", "counter", "decline")


@dataclass(frozen=True)
class Advice:
    """What to answer to an offer.

    Attributes
    ----------
    answer
        The best answer.
    counter_at
        Price to name if you counter.
    take_it
        Least offer to take today.
    worth
        Money expected from each answer, after fees and waiting.
    regret
        What each answer gives away against the best one; 0 for the best.
    chance_counter_taken
        Chance that the buyer takes the counter.
    reasons
        In sentences.
    """

    offer: Money
    answer: Answer
    counter_at: Money
    take_it: Money
    worth: dict[Answer, Money]
    regret: dict[Answer, Money]
    chance_counter_taken: float
    reasons: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON; money as text of major units."""
        return {
            "schema": "driveout-offer-advice/1",
            "currency": self.offer.currency,
            "offer": str(self.offer.major),
            "answer": self.answer,
            "counter_at": str(self.counter_at.major),
            "take_it": str(self.take_it.major),
            "worth": {key: str(money.major) for key, money in self.worth.items()},
            "regret": {key: str(money.major) for key, money in self.regret.items()},
            "chance_counter_taken": self.chance_counter_taken,
            "reasons": list(self.reasons),
        }


def counter_gain(above_take_it: float, band: float, walk_risk: float) -> float:
    """Expected gain over the take-it price from countering at take-it price plus band.

    A buyer who offered X would pay X plus an exponential amount with mean ``band``; he walks away
    with chance ``walk_risk``. The gain is ``band (1 - w) exp(z - 1)``, ``z = (X - V) / band``, for
    z up to 1; above that the offer already exceeds the counter.

    Parameters
    ----------
    above_take_it
        Offer less take-it price, net.
    band
        Mean of what the buyer has left.
    walk_risk
        w.

    Returns
    -------
    float
        Gain; accepting gains ``above_take_it``.

    References
    ----------
    own-reasoning, docs/method/asking.md, an offer.

    Examples
    --------
    >>> counter_gain(0.9, 1.0, 0.1) < 0.9
    True
    """
    z = above_take_it / band
    if z >= 1:
        return (1 - walk_risk) * above_take_it
    return band * (1 - walk_risk) * math.exp(z - 1)


def answer_offer(situation: SaleSituation, offer: Money) -> Advice:
    """Accept, counter or decline an offer, with the regret of each.

    Parameters
    ----------
    situation
        The sale as it stands; its spells should hold what was asked so far.
    offer
        What the buyer offers.

    Returns
    -------
    Advice
        Best answer, counter price, worth and regret of each answer.

    Raises
    ------
    BadEntry
        If the offer is not above 0 or in another currency.
    """
    if offer.currency != situation.currency:
        raise BadEntry(
            f"The offer is in {offer.currency} but the car is priced in {situation.currency}. "
            "Ask for an offer in the car's currency; driveout knows no rates.",
            field="amount",
            value=offer.text(),
            allowed=situation.currency,
        )
    if offer.minor <= 0:
        raise BadEntry(
            f"The offer {offer.text()} is not above 0. Type what the buyer would pay.",
            field="amount",
            value=offer.text(),
            allowed="above 0",
        )
    at = SaleNumbers.of(situation)
    keep = 1 - at.terms.fee_share
    value = _with_viewers(situation, at, solve(at.demand, at.terms, highest_ask=at.asked_now).value)
    net = float(offer.major) * keep - at.terms.fee_fixed
    band = situation.haggle_room * at.demand.market * keep
    cost = float(situation.haggle_cost.major) if situation.haggle_cost else 0.001 * at.demand.market
    counter = max(at.terms.gross(value + band), float(offer.major))
    counter = at.rounded(counter) if at.rounded(counter) > float(offer.major) else counter
    if at.asked_now is not None:
        counter = min(counter, max(at.asked_now, float(offer.major)))
    room = (counter - float(offer.major)) * keep
    taken = (1 - situation.walk_risk) * math.exp(-room / band)
    gain = taken * (counter * keep - at.terms.fee_fixed - value) - cost
    worth_plain = {"accept": net, "counter": value + gain, "decline": value}
    best = max(worth_plain.values())
    answer = next(a for a in ANSWERS if worth_plain[a] >= best - 1e-9)
    money = at.money
    worth: dict[Answer, Money] = {a: money(worth_plain[a]) for a in ANSWERS}
    regret: dict[Answer, Money] = {a: worth[answer] - worth[a] for a in ANSWERS}
    take_it = money(at.terms.gross(value))
    reasons = _reasons(offer, answer, money(counter), take_it, taken, regret, situation)
    return Advice(offer, answer, money(counter), take_it, worth, regret, taken, tuple(reasons))


def _with_viewers(situation: SaleSituation, at: SaleNumbers, value: float) -> float:
    """Value of going on when further people have booked to look: each may pay more than the rest is worth."""
    if not situation.viewers_booked:
        return value
    market = at.demand.market
    excess = exponential_excess(situation.viewer_buys, market / at.demand.buy_fall, market)
    keep = 1 - at.terms.fee_share
    top = math.inf if at.asked_now is None else at.asked_now

    def net_excess(k: float) -> float:
        gross = at.terms.gross(k)
        # Nobody pays more than is asked.
        return keep * max(excess(gross) - (excess(top) if top < math.inf else 0.0), 0.0)

    return value_of_offers(net_excess, situation.viewers_booked, value)[-1]


def _reasons(
    offer: Money,
    answer: Answer,
    counter: Money,
    take_it: Money,
    taken: float,
    regret: dict[Answer, Money],
    situation: SaleSituation,
) -> list[str]:
    side = "above" if offer >= take_it else "below"
    gap = offer - take_it if offer >= take_it else take_it - offer
    first = {
        "accept": f"Accept {offer.text()}.",
        "counter": f"Counter at {counter.text()}.",
        "decline": f"Decline {offer.text()} and keep the advert as it is.",
    }[answer]
    said = [
        first,
        f"The offer is {gap.text()} {side} your take-it price of {take_it.text()}: what you can expect from waiting, "
        "after its cost.",
    ]
    if counter > offer:
        said.append(
            f"A counter at {counter.text()} is taken with a chance of about {taken:.0%}; "
            f"{situation.walk_risk:.0%} of countered buyers walk away."
        )
    if situation.viewers_booked:
        said.append(f"This counts {situation.viewers_booked} more who have booked to come and look.")
    said.append(
        "Each other answer gives away: "
        + ", ".join(f"{a} {regret[a].text()}" for a in ANSWERS if a != answer)
        + ", on average."
    )
    return said
