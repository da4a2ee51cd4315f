"""An invented world: owners and the cars that come their way, with what is seen and what is hidden kept apart.

Nature goes by a network that is not the one believed in, by own hours and prices that no estimate
says, by sellers with least prices and by buyers who come by chance. All of it is drawn once for
each car from its own seed, so that two ways of deciding meet the very same cars and buyers.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import numpy.typing as npt

from driveout.errors import BadEntry
from driveout.faults import Beta, Cause, Finding, Link, Network
from driveout.simulate.beliefs import FAULTS, LEVELS, believed_network, loss_shares, repair_of
from driveout.simulate.seen import SeenAdvert
from driveout.simulate.truth import draw_truth

Floats = npt.NDArray[np.float64]

#: adverts a day, and days for which they are drawn
ADVERTS_PER_DAY, LONGEST_DAYS = 1.0, 1500
#: candidates among buyers a day, thinned to those who really come; days for which they are drawn
BUYERS_PER_DAY, SALE_DAYS = 1.5, 91


@dataclass(frozen=True)
class World:
    """How far the truth is from what is believed.

    Parameters
    ----------
    name
        What it is called in results.
    prior_error, sign_error
        Standard deviation of the log odds by which true chances of faults, and of what they show,
        differ from those believed, drawn anew for each owner.
    prior_shift
        Log odds added to the chance of every fault: above 0 cars are worse than believed.
    bias_mean, bias_sd
        The owner's own hours against the estimate, as a logarithm.
    skill_drift
        Change of that per car: below 0 he gets quicker.
    job_spread
        Spread of one job's hours and money around that, as a logarithm.
    value_error
        Spread of the true value around the appraised, as a logarithm; ``value_shift`` its mean.
    seller_mean, seller_sd
        The seller's least price against what the car is worth as it stands, as a logarithm.
    seller_knows
        Share of the unsaid faults that the seller's price knows of.
    rivals
        How quickly bargains go to others.
    enquiries
        Mean enquiries a day at the market value; each owner's town has its own.
    sensitivity
        Per cent fewer sales per per cent of price.
    """

    name: str = "as believed, with ordinary errors"
    prior_error: float = 0.5
    sign_error: float = 0.5
    prior_shift: float = 0.0
    bias_mean: float = 0.2
    bias_sd: float = 0.3
    skill_drift: float = 0.0
    job_spread: float = 0.3
    value_error: float = 0.10
    value_shift: float = 0.0
    seller_mean: float = -0.15
    seller_sd: float = 0.30
    seller_knows: float = 0.5
    rivals: float = 0.10
    enquiries: float = 0.25
    sensitivity: float = 6.9


WORLDS: Mapping[str, World] = {
    "ordinary": World(),
    "chances wrong": World("chances of faults far off", prior_error=1.2, sign_error=1.0),
    "worse cars": World("every fault likelier than believed", prior_shift=0.7),
    "skill drifts": World("skill drifts", bias_mean=0.45, skill_drift=-0.05),
    "price-sensitive buyers": World("buyers more price-sensitive than believed", sensitivity=11.0),
    "sharp sellers": World("sellers sharper", seller_mean=0.0, seller_knows=1.0, rivals=0.25),
    "thin market": World("few buyers", enquiries=0.10),
}


@dataclass(frozen=True)
class Buyer:
    """One who may come: day since the advert, luck that decides whether he does, and what he would pay."""

    day: float
    luck: float
    pays: float
    haggles: float
    patience: float


@dataclass(frozen=True)
class HiddenCar:
    """What is really the case with a car. Money in major units.

    Parameters
    ----------
    value
        What the sound car would really fetch.
    least_price
        The seller's least price.
    gone_day
        Day on which somebody else has it.
    faults
        Faults that are there.
    shows
        What each check would show.
    hours_luck, money_luck
        Normal scores of each fault's hours and money.
    losses
        Share of the value that each fault costs when it is left.
    buyers
        Those who may come once it is for sale.
    """

    value: float
    least_price: float
    gone_day: float
    faults: tuple[str, ...]
    shows: Mapping[str, str]
    hours_luck: Mapping[str, float]
    money_luck: Mapping[str, float]
    losses: Mapping[str, float]
    buyers: tuple[Buyer, ...]


@dataclass(frozen=True)
class HiddenOwner:
    """An owner's hidden side: how long he really takes, what parts really cost him, how his town buys."""

    bias_hours: float
    bias_money: float
    kind_effect: Mapping[str, float]
    enquiries: float
    sensitivity: float
    drift: float
    spread: float


class Stream:
    """Everything that one owner may meet: adverts by number, and behind each the hidden car.

    Parameters
    ----------
    owner
        His hidden side.
    days
        Day on which each advert appears, rising.
    draw
        Gives the advert and the hidden car of a number; always the same for the same number.
    """

    def __init__(
        self, owner: HiddenOwner, days: Sequence[float], draw: Callable[[int], tuple[SeenAdvert, HiddenCar]]
    ) -> None:
        self.owner, self.days = owner, tuple(days)
        # Most adverts appear while the owner is busy and are never read, so they are drawn when met.
        self._draw = cache(draw)

    def advert(self, number: int) -> SeenAdvert:
        """What can be read of a car."""
        return self._draw(number)[0]

    def car(self, number: int) -> HiddenCar:
        """What is really the case with it."""
        return self._draw(number)[1]


def stream(world: World, seed: int, owner: int, days: int = LONGEST_DAYS) -> Stream:
    """Draw an owner and the adverts that come his way.

    Parameters
    ----------
    world
        How far the truth is from what is believed.
    seed
        Seed of the whole comparison.
    owner
        Number of the owner.
    days
        So many adverts are there, one a day on average.

    Returns
    -------
    Stream
        The same for the same arguments, whoever decides.

    Raises
    ------
    BadEntry
        If the days are under 1.
    """
    if days < 1:
        raise BadEntry(f"{days} days of adverts cannot be drawn.", field="days", value=days)
    rng = np.random.default_rng([seed, owner])
    nature = perturbed(believed_network(), world, rng)
    person = HiddenOwner(
        bias_hours=float(world.bias_mean + world.bias_sd * rng.normal()),
        bias_money=float(0.06 + 0.12 * rng.normal()),
        kind_effect={fault: float(0.2 * rng.normal()) for fault in FAULTS},
        enquiries=float(world.enquiries * math.exp(0.35 * rng.normal())),
        sensitivity=float(world.sensitivity * math.exp(0.15 * rng.normal())),
        drift=world.skill_drift,
        spread=world.job_spread,
    )
    appear = np.cumsum(rng.exponential(1.0 / ADVERTS_PER_DAY, round(days * ADVERTS_PER_DAY))).tolist()

    def draw(number: int) -> tuple[SeenAdvert, HiddenCar]:
        car = np.random.default_rng([seed, owner, number])
        return _car(number, appear[number], nature, world, car)

    return Stream(person, appear, draw)


def _car(
    number: int, day: float, nature: Network, world: World, rng: np.random.Generator
) -> tuple[SeenAdvert, HiddenCar]:
    truth = draw_truth(nature, rng)
    level = LEVELS[int(rng.integers(len(LEVELS)))]
    value = level * math.exp(world.value_shift + world.value_error * float(rng.normal()))
    shares = loss_shares()
    losses = {
        fault: float(np.clip(shares[fault] * math.exp(0.25 * rng.normal()), 0.0, 0.9)) for fault in FAULTS
    }
    said = {name for name, label in truth.says.items() if label != "no"}
    known = [
        f for f in sorted(truth.faults) if _is_said(f, said, nature) or rng.random() < world.seller_knows
    ]
    as_it_stands = value * math.prod(1.0 - losses[f] for f in known)
    least = as_it_stands * math.exp(world.seller_mean + world.seller_sd * float(rng.normal()))
    asking = round(least * (1.0 + float(rng.uniform(0.05, 0.30))) / 25) * 25 + 25.0
    bargain = (0.75 * as_it_stands - asking) / value
    gone = day + float(rng.exponential(1.0 / (world.rivals * math.exp(6.0 * bargain))))
    distance = float(rng.uniform(5.0, 70.0))
    seen = SeenAdvert(number, day, level, asking, tuple(sorted(truth.says.items())), distance)
    hidden = HiddenCar(
        value,
        least,
        gone,
        tuple(sorted(truth.faults)),
        truth.shows,
        {f: float(rng.normal()) for f in FAULTS},
        {f: float(rng.normal()) for f in FAULTS},
        losses,
        _buyers(rng),
    )
    return seen, hidden


def _is_said(fault: str, said: set[str], network: Network) -> bool:
    for finding in network.findings:
        if finding.id in said:
            for link in finding.links:
                cause = network.cause[link.cause]
                if any(cause.fault_of(s) == fault for s in cause.states if link.state in ("*", s.id)):
                    return True
    return False


def _buyers(rng: np.random.Generator) -> tuple[Buyer, ...]:
    count = int(rng.poisson(BUYERS_PER_DAY * SALE_DAYS))
    days = np.sort(rng.uniform(0.0, SALE_DAYS, count))
    luck, pays, haggles, patience = rng.random((4, count))
    return tuple(
        Buyer(*(float(x) for x in row)) for row in zip(days, luck, pays, haggles, patience, strict=True)
    )


def perturbed(network: Network, world: World, rng: np.random.Generator) -> Network:
    """A network with other chances than the one believed in, same faults and same findings.

    Parameters
    ----------
    network
        The one believed in.
    world
        By how much.
    rng
        Source of randomness.

    Returns
    -------
    Network
        Nature's own.
    """

    def moved(belief: Beta, sd: float, shift: float = 0.0) -> Beta:
        chance = belief.mean
        if not 0.0 < chance < 1.0:
            return belief
        score = math.log(chance / (1.0 - chance)) + shift + sd * float(rng.normal())
        return Beta.of(1.0 / (1.0 + math.exp(-score)), belief.a + belief.b, belief.origin)

    def cause(one: Cause) -> Cause:
        return replace(one, prior=moved(one.prior, world.prior_error, world.prior_shift))

    def link(one: Link) -> Link:
        given = [moved(b, world.sign_error) for b in one.given]
        return replace(one, given=_fitting(given))

    def finding(one: Finding) -> Finding:
        return replace(
            one,
            links=tuple(link(k) for k in one.links),
            false_alarm=_fitting([moved(b, world.sign_error) for b in one.false_alarm]),
        )

    return Network(
        tuple(cause(c) for c in network.causes),
        tuple(finding(f) for f in network.findings),
        network.roots,
        network.arcs,
        network.tables,
        network.common,
    )


def _fitting(beliefs: list[Beta]) -> tuple[Beta, ...]:
    """Chances of several outcomes, made to add up to less than 1."""
    total = sum(b.mean for b in beliefs)
    if total < 0.98:
        return tuple(beliefs)
    return tuple(Beta.of(b.mean * 0.98 / total, b.a + b.b, b.origin) for b in beliefs)


def true_hours(owner: HiddenOwner, car: HiddenCar, fault: str, finished: int) -> float:
    """Own hours that mending a fault really takes. [h]."""
    repair = repair_of(fault)
    score = owner.bias_hours + owner.drift * finished + owner.kind_effect[fault]
    return repair.hours_middle * math.exp(score + owner.spread * car.hours_luck[fault])


def true_money(owner: HiddenOwner, car: HiddenCar, fault: str) -> float:
    """Money that mending a fault really takes. [major units]."""
    repair = repair_of(fault)
    return repair.money_middle * math.exp(owner.bias_money + 0.25 * car.money_luck[fault])


def world_named(key: str) -> World:
    """A world by its key; BadEntry for an unknown one."""
    if key not in WORLDS:
        raise BadEntry(f"There is no world {key!r}.", field="world", value=key, allowed=", ".join(WORLDS))
    return WORLDS[key]
