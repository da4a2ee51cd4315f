"""Ways of deciding: driveout's own, fixed rules of thumb, and mixtures. They are handed only what is seen."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from driveout.errors import BadEntry
from driveout.hunt import bid_against_least_price, least_price_from_asking
from driveout.lessons import HOURS, MONEY, Job, fit
from driveout.market.time_to_sell import PRIOR_DAYS, PRIOR_SHAPE
from driveout.repairs.choose import RepairOption, choose
from driveout.selling.offers import counter_gain
from driveout.selling.programme import Demand, Programme, Terms, solve
from driveout.selling.situation import BUY_SHARE, HAGGLE_ROOM, SENSITIVITY, WALK_RISK
from driveout.simulate.beliefs import (
    CHECKS,
    HOUR_STEPS,
    MONEY_STEPS,
    Weighed,
    expected_repairs,
    loss_shares,
    nearest,
    repair_of,
    rules_for,
    weighed,
)
from driveout.simulate.seen import SeenAdvert
from driveout.viewing.policy import Policy

Evidence = tuple[tuple[str, str], ...]

#: what is usually paid of the asked price, for deciding whether to go and look
USUALLY_PAID = 0.92
WEEKS, WEEK = 13, 7.0
#: a trader takes the car at once for this share of its value as it stands; parts bring this, in these hours
TRADE_SHARE, PART_OUT, PART_OUT_HOURS, SCRAP, SCRAP_HOURS = 0.60, 700.0, 30.0, 300.0, 2.0
CASH_PER_DAY = 2.5
QUICK_CHECKS = ("s_codes", "s_misfire", "d_clutch_hold", "u_rust_probe")
#: cars of evidence about the demand that are kept; older ones fade
MOST_SHAPE = 8.0


@dataclass(frozen=True)
class Way:
    """A way of deciding, part by part.

    Parameters
    ----------
    name
        What it is called.
    price
        ``walk-away`` (by outlook and wage), ``share`` (a share of resale less expected repairs) or
        ``margin`` (resale less expected repairs less a fixed margin).
    checks
        ``planned``, ``one by one`` (best single check while it pays), ``all``, ``quick`` or ``none``.
    repairs
        ``chosen`` (gain against money and hours) or ``all``.
    asking
        ``programme`` or ``cut`` (so much off each fortnight, offers from so much of the ask).
    learns
        Whether finished cars correct the estimates.
    stops
        Whether a car that turns out bad may be sold on, parted out or scrapped.
    wage, day_cost
        What an own hour and a day must bring. [major units]
    share, margin
        Constants of the fixed price rules; ``margin`` in major units.
    first_ask, cut, take
        Constants of the fixed asking rule: first ask against the value, share off each fortnight,
        share of the ask that is taken.
    """

    name: str
    price: str = "walk-away"
    checks: str = "planned"
    repairs: str = "chosen"
    asking: str = "programme"
    learns: bool = True
    stops: bool = True
    wage: float = 40.0
    day_cost: float = 12.0
    share: float = 0.6
    margin: float = 1000.0
    first_ask: float = 1.05
    cut: float = 0.05
    take: float = 0.93


@dataclass(frozen=True)
class Mind:
    """What an owner has learned so far.

    Parameters
    ----------
    jobs
        Finished jobs, hours and money.
    shape, days
        Gamma law of enquiries a day at the market value.
    """

    jobs: tuple[Job, ...] = ()
    shape: float = PRIOR_SHAPE
    days: float = PRIOR_SHAPE * PRIOR_DAYS * BUY_SHARE

    @property
    def hours(self) -> float:
        """Own hours against the catalogue, as a logarithm."""
        return _learned(tuple(job for job in self.jobs if job.measure == HOURS))

    @property
    def money(self) -> float:
        """Money against the catalogue, as a logarithm."""
        return _learned(tuple(job for job in self.jobs if job.measure == MONEY))


@lru_cache(maxsize=4096)
def _learned(jobs: tuple[Job, ...]) -> float:
    return fit(jobs).forecast("the next kind").log_mean if jobs else 0.0


def weigh_advert(way: Way, mind: Mind, advert: SeenAdvert) -> Weighed:
    """The advert weighed with what was learned."""
    return weighed(
        advert.says,
        advert.value,
        nearest(mind.hours, HOUR_STEPS),
        nearest(mind.money, MONEY_STEPS),
        rules_for(way.wage, way.day_cost + CASH_PER_DAY, False),
    )


def trip_hours(advert: SeenAdvert) -> float:
    """Hours of driving there and back and of looking round, checks not counted. [h]."""
    return 0.5 + 2.0 * advert.distance_km / 50.0


def trip_money(advert: SeenAdvert) -> float:
    """What driving there and back costs. [major units]."""
    return 0.30 * 2.0 * advert.distance_km


def go_and_see(way: Way, mind: Mind, advert: SeenAdvert) -> bool:
    """Whether to go and look at a car, by its advert."""
    if advert.asking > 1.1 * advert.value:
        return False
    paid = USUALLY_PAID * advert.asking
    if way.price == "walk-away":
        cost = trip_money(advert) + way.wage * trip_hours(advert)
        made = weigh_advert(way, mind, advert)
        worth = made.plan.value if _uses_plan(way) else made.plan.value_without_checks
        return worth(100.0 * paid) / 100.0 > cost
    return paid <= _fixed_price(way, mind, advert, ())


def _uses_plan(way: Way) -> bool:
    return way.checks in ("planned", "one by one", "all", "quick")


def next_check(
    way: Way, mind: Mind, advert: SeenAdvert, found: Evidence, done: tuple[str, ...]
) -> str | None:
    """The check to do next at the car; None to decide now.

    Parameters
    ----------
    way
        The way of deciding.
    mind
        What was learned.
    advert
        What the advert says.
    found
        Findings so far.
    done
        Checks so far.

    Returns
    -------
    str or None
        Id of the check.
    """
    if way.checks == "none":
        return None
    if way.checks in ("all", "quick"):
        wanted = tuple(CHECKS) if way.checks == "all" else QUICK_CHECKS
        return next((check for check in wanted if check not in done), None)
    made = weigh_advert(way, mind, advert)
    price = USUALLY_PAID * advert.asking
    if way.checks == "planned":
        policy = made.advice(price)
        node = policy.nodes.get(_position(policy, found))
        step = -1 if node is None else node.step_at(100.0 * price)
        return None if step < 0 else policy.checks[step]
    if done:  # one by one: the single check that pays most by itself, then decide
        return None
    best = max(made.plan.worth_alone(100.0 * price), key=lambda worth: worth.net)
    return best.name if best.net > 0 else None


def _position(policy: Policy, found: Evidence) -> str:
    """What was found, written as the policy writes it."""
    position, known = policy.start, dict(found)
    for check in policy.checks:
        if CHECKS[check][0] in known:
            position = policy.after(position, check, ", ".join(known[f] for f in CHECKS[check]))
    return position


def most_to_pay(way: Way, mind: Mind, advert: SeenAdvert, found: Evidence) -> float:
    """The highest price to pay now. [major units]."""
    if way.price == "walk-away":
        made = weigh_advert(way, mind, advert)
        position = _position(made.advice(USUALLY_PAID * advert.asking), found)
        return max(made.plan.limit_at(position) / 100.0, 0.0)
    return _fixed_price(way, mind, advert, found)


def _fixed_price(way: Way, mind: Mind, advert: SeenAdvert, found: Evidence) -> float:
    evidence = tuple(sorted({**dict(advert.says), **dict(found)}.items()))
    learned = mind.money if way.learns else 0.0
    repairs = expected_repairs(evidence, learned)
    if way.price == "share":
        return way.share * advert.value - repairs
    if way.price == "margin":
        return advert.value - repairs - way.margin
    raise BadEntry(f"{way.price!r} is no rule for the price.", field="price", value=way.price)


def first_offer(way: Way, mind: Mind, advert: SeenAdvert, found: Evidence) -> float:
    """What to offer the seller first; never above the asking price. [major units]."""
    most = most_to_pay(way, mind, advert, found)
    if way.price == "walk-away":
        made = weigh_advert(way, mind, advert)
        bid = bid_against_least_price(
            max(most, 1.0), made.spread, least_price_from_asking(advert.asking), most=min(most, advert.asking)
        )
        return min(bid.amount, advert.asking)
    return min(most, 0.88 * advert.asking)


@dataclass(frozen=True)
class AfterStripping:
    """What is decided when the faults lie open.

    Parameters
    ----------
    mend
        Faults to mend.
    end
        ``sell`` mended, or ``trade``, ``part out``, ``scrap`` at once.
    """

    mend: tuple[str, ...]
    end: str = "sell"


def after_stripping(way: Way, mind: Mind, value: float, faults: tuple[str, ...]) -> AfterStripping:
    """Choose the repairs, or the way out.

    Parameters
    ----------
    way
        The way of deciding.
    mind
        What was learned.
    value
        Appraised value of the sound car. [major units]
    faults
        Faults found.

    Returns
    -------
    AfterStripping
        The decision.
    """
    h, m = math.exp(mind.hours if way.learns else 0.0), math.exp(mind.money if way.learns else 0.0)
    shares = loss_shares()
    if way.repairs == "all":
        mend = faults
    else:
        options = [
            RepairOption(
                fault, fault, round(100 * shares[fault] * value), round(100 * repair_of(fault).money_mean * m),
                repair_of(fault).hours_mean * h, is_mandatory=repair_of(fault).is_critical,
            )
            for fault in faults
        ]  # fmt: skip
        mend = choose(options, wage=round(100 * way.wage)).best.options if options else ()
    if not way.stops:
        return AfterStripping(mend)
    left = math.prod(1.0 - shares[f] for f in faults if f not in mend)
    hours = sum(repair_of(f).hours_mean * h for f in mend) + 12.0
    days = hours / HOURS_A_DAY + 30.0
    going_on = (
        0.98 * value * left
        - sum(repair_of(f).money_mean * m for f in mend)
        - way.wage * hours
        - (way.day_cost + CASH_PER_DAY) * days
    )
    as_it_stands = math.prod(1.0 - shares[f] for f in faults)
    ways = {
        "sell": going_on,
        "trade": TRADE_SHARE * value * as_it_stands - 2.0 * way.wage,
        "part out": PART_OUT - (way.wage + (way.day_cost + CASH_PER_DAY) / HOURS_A_DAY) * PART_OUT_HOURS,
        "scrap": SCRAP - way.wage * SCRAP_HOURS,
    }
    best = max(ways, key=lambda name: ways[name])
    return AfterStripping(mend if best == "sell" else (), best)


HOURS_A_DAY = 12.0 / 7.0


@lru_cache(maxsize=2048)
def _programme(holding: float, shape: float, days: float) -> Programme:
    """The asking programme of a car worth 100."""
    demand = Demand(shape, days, 100.0, SENSITIVITY / 2, SENSITIVITY / 2, BUY_SHARE)
    terms = Terms((WEEK,) * WEEKS, (1.0,) * WEEKS, holding, 100.0 * TRADE_SHARE)
    return solve(demand, terms, price_count=17, exposure_count=11, most_counts=22)


def _programme_for(way: Way, mind: Mind, value: float) -> Programme:
    holding = 100.0 * (CASH_PER_DAY + way.day_cost) / value
    learned = mind if way.learns else Mind()
    rate = round(math.log(learned.shape / learned.days) / 0.15) * 0.15
    shape = round(learned.shape)
    return _programme(round(holding / 0.02) * 0.02, float(shape), float(shape) / math.exp(rate))


@dataclass(frozen=True)
class SaleSoFar:
    """A sale as its owner sees it: weeks gone by, enquiries that did not buy, exposure, the price asked before.

    ``ask`` is None before the first price. ``exposure`` is days at the market value, by belief.
    """

    week: int = 0
    enquiries: int = 0
    exposure: float = 0.0
    ask: float | None = None


@dataclass(frozen=True)
class Asked:
    """A price for the week and the least offer to take in it, or None to sell to a trader now."""

    ask: float | None
    take: float
    counter: float


def ask_now(way: Way, mind: Mind, value: float, sale: SaleSoFar) -> Asked:
    """What to ask this week and what to take.

    Parameters
    ----------
    way
        The way of deciding.
    mind
        What was learned.
    value
        What the car is thought to be worth as it now is. [major units]
    sale
        The sale so far.

    Returns
    -------
    Asked
        Prices of the week. [major units]
    """
    if way.asking == "cut":
        ask = way.first_ask * value * (1.0 - way.cut) ** (sale.week // 2)
        return Asked(ask, way.take * ask, ask)
    made = _programme_for(way, mind, value)
    highest = len(made.prices) - 1
    if sale.ask is not None:
        below = [i for i, price in enumerate(made.prices) if price <= 100.0 * sale.ask / value + 1e-6]
        highest = below[-1] if below else 0
    worth, choice = made.look_up(sale.week, sale.enquiries, made.demand.days + sale.exposure, highest)
    if choice < 0:
        return Asked(None, worth * value / 100.0, worth * value / 100.0)
    ask = float(made.prices[choice]) * value / 100.0
    take = worth * value / 100.0
    return Asked(ask, take, min(take + HAGGLE_ROOM * value, ask))


def answer(way: Way, value: float, asked: Asked, offer: float) -> str:
    """``accept`` or ``counter``, for an offer below the ask."""
    if way.asking == "cut":
        return "accept" if offer >= asked.take else "counter"
    gain = counter_gain(offer - asked.take, HAGGLE_ROOM * value, WALK_RISK)
    return "accept" if offer >= asked.take and offer - asked.take >= gain else "counter"


def believed_exposure(ask: float, value: float) -> float:
    """Days at the market value that one day at this ask counts for."""
    return math.exp(-SENSITIVITY / 2 * (ask - value) / value)


def after_sale(mind: Mind, enquiries: int, exposure: float, jobs: tuple[Job, ...]) -> Mind:
    """What an owner knows after one more car."""
    shape, days = mind.shape + enquiries, mind.days + exposure
    fade = min(1.0, MOST_SHAPE / shape)
    return Mind((*mind.jobs, *jobs), shape * fade, days * fade)


OURS = Way("driveout")
#: every way that is compared, by its key: ours, fixed rules, and ours with one part replaced
WAYS: Mapping[str, Way] = {
    "driveout": OURS,
    "half-of-resale": Way(
        "a share of resale less repairs, the same checks each time, mend all, cut each fortnight",
        "share", "quick", "all", "cut", False, False, share=0.45, first_ask=1.05, cut=0.03, take=0.93,
    ),
    "fixed-margin": Way(
        "resale less repairs less a fixed margin, the same checks each time, mend all, cut each fortnight",
        "margin", "quick", "all", "cut", False, False, margin=3200.0, first_ask=1.10, cut=0.05, take=0.93,
    ),
    "price by share": replace(OURS, name="driveout, but the price by a share of resale less repairs", price="share",
                              checks="quick", share=0.45),
    "no checks": replace(OURS, name="driveout, but no checks", checks="none"),
    "one check": replace(OURS, name="driveout, but only the best single check", checks="one by one"),
    "all checks": replace(OURS, name="driveout, but every check each time", checks="all"),
    "all repairs": replace(OURS, name="driveout, but every fault is mended", repairs="all"),
    "cut a fortnight": replace(OURS, name="driveout, but the ask is cut each fortnight", asking="cut", first_ask=1.10),
    "no learning": replace(OURS, name="driveout, but nothing is learned", learns=False),
    "no way out": replace(OURS, name="driveout, but a bad car is always finished", stops=False),
}  # fmt: skip


def named(key: str) -> Way:
    """A way by its key; BadEntry for an unknown one."""
    if key not in WAYS:
        raise BadEntry(
            f"There is no way of deciding {key!r}.", field="rule", value=key, allowed=", ".join(WAYS)
        )
    return WAYS[key]
