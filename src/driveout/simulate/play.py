"""Plays an owner's years: cars come, are seen, checked, bought, mended and sold by one way of deciding.

Here alone the seen and the hidden meet: a decision gets what is seen, and what follows is taken
from what is hidden.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass

from driveout.lessons import HOURS, MONEY, Job
from driveout.selling.situation import BUY_SHARE
from driveout.simulate.beliefs import CHECKS, VIEWING_MINUTES, believed_pack, loss_shares, repair_of
from driveout.simulate.seen import SeenAdvert
from driveout.simulate.ways import (
    CASH_PER_DAY,
    HOURS_A_DAY,
    PART_OUT,
    PART_OUT_HOURS,
    SCRAP,
    SCRAP_HOURS,
    TRADE_SHARE,
    WEEK,
    WEEKS,
    Asked,
    Evidence,
    Mind,
    SaleSoFar,
    Way,
    after_sale,
    after_stripping,
    answer,
    ask_now,
    believed_exposure,
    first_offer,
    go_and_see,
    most_to_pay,
    next_check,
    trip_hours,
    trip_money,
)
from driveout.simulate.world import (
    BUYERS_PER_DAY,
    Buyer,
    HiddenCar,
    HiddenOwner,
    Stream,
    true_hours,
    true_money,
)

#: own hours: to read an advert, to strip and look, to clean, photograph and do the papers, per enquiry, per sale
READING_HOURS, STRIPPING_HOURS, READY_HOURS, ENQUIRY_HOURS, SALE_HOURS = 0.05, 3.0, 9.0, 0.3, 2.0
PAPERS, FETCHING, PREPARING = 110.0, 60.0, 85.0
#: what a seller who refused says next: so much of the way from his least price to the asked one
STANDS_AT = 0.3
ADVERT_STAYS_DAYS = 4.0


@dataclass(frozen=True)
class Flow:
    """Money in (above 0) or out, with its reason. [major units]."""

    what: str
    amount: float


@dataclass(frozen=True)
class CarResult:
    """One bought car, from the search that led to it until it was sold.

    Parameters
    ----------
    number
        Its advert.
    flows
        Every sum, search included; they add up to the profit.
    hours
        Own hours, search included. [h]
    days
        Days from the end of the car before to its sale. [days]
    bought_on, sold_on
        Days of the owner's calendar.
    looked, seen
        Adverts read and cars seen for it.
    found
        What the checks showed.
    most
        Highest price that the way of deciding would have paid. [major units]
    mended, left
        Faults mended and left.
    end
        ``sold``, or the way out.
    expected_value
        What the sound car was thought to be worth. [major units]
    """

    number: int
    flows: tuple[Flow, ...]
    hours: float
    days: float
    bought_on: float
    sold_on: float
    looked: int
    seen: int
    found: Evidence
    most: float
    mended: tuple[str, ...]
    left: tuple[str, ...]
    end: str
    expected_value: float

    @property
    def profit(self) -> float:
        """Sum of the flows. [major units]."""
        return math.fsum(flow.amount for flow in self.flows)


@dataclass(frozen=True)
class Years:
    """What one owner made of his cars by one way of deciding."""

    cars: tuple[CarResult, ...]

    @property
    def profit(self) -> float:
        """Over all cars. [major units]."""
        return math.fsum(car.profit for car in self.cars)

    @property
    def hours(self) -> float:
        """Own hours over all cars. [h]."""
        return math.fsum(car.hours for car in self.cars)

    @property
    def days(self) -> float:
        """Days over all cars. [days]."""
        return math.fsum(car.days for car in self.cars)

    @property
    def losses(self) -> int:
        """Cars with a cash loss."""
        return sum(car.profit < 0 for car in self.cars)


def play(met: Stream, way: Way, cars: int) -> Years:
    """Play an owner's cars one after the other; the garage holds one at a time.

    Parameters
    ----------
    met
        What the owner meets; the same for every way of deciding.
    way
        How he decides.
    cars
        So many cars, fewer when no more adverts come.

    Returns
    -------
    Years
        One result a car.
    """
    results: list[CarResult] = []
    mind, now = Mind(), 0.0
    while len(results) < cars:
        found = _search(met, way, mind, now)
        if found is None:
            break
        result, mind = _owned(met, way, mind, now, found, len(results))
        results.append(result)
        now = result.sold_on + 1.0
    return Years(tuple(results))


@dataclass(frozen=True)
class _Bought:
    number: int
    day: float
    price: float
    most: float
    found: Evidence
    hours: float
    money: float
    looked: int
    seen: int


def _search(met: Stream, way: Way, mind: Mind, now: float) -> _Bought | None:
    """Read adverts as they come, see those worth it, until one is bought."""
    hours = money = 0.0
    looked = seen = 0
    day = now
    first = bisect_left(met.days, now - ADVERT_STAYS_DAYS)
    for number in range(first, len(met.days)):
        advert, car = met.advert(number), met.car(number)
        looked += 1
        hours += READING_HOURS
        if not go_and_see(way, mind, advert):
            continue
        day = max(day, advert.day) + 1.0
        if car.gone_day < day:
            day -= 1.0
            continue
        seen += 1
        found, minutes, spent = _viewed(way, mind, advert, car)
        hours += trip_hours(advert) + minutes / 60.0
        money += trip_money(advert) + spent
        price = _haggled(way, mind, advert, car, found)
        if price is not None:
            most = most_to_pay(way, mind, advert, found)
            return _Bought(advert.number, day, price, most, found, hours, money, looked, seen)
    return None


def _viewed(way: Way, mind: Mind, advert: SeenAdvert, car: HiddenCar) -> tuple[Evidence, float, float]:
    """What the checks showed, the minutes they took and the money."""
    found: dict[str, str] = {}
    done: tuple[str, ...] = ()
    minutes = spent = 0.0
    while True:
        check = next_check(way, mind, advert, tuple(sorted(found.items())), done)
        if check is None:
            return tuple(sorted(found.items())), minutes, spent
        known = believed_pack().checks[check]
        if minutes + known.minutes > VIEWING_MINUTES:
            return tuple(sorted(found.items())), minutes, spent
        minutes += known.minutes
        spent += float(known.money.major)
        done = (*done, check)
        found |= {finding: car.shows[finding] for finding in CHECKS[check]}


def _haggled(way: Way, mind: Mind, advert: SeenAdvert, car: HiddenCar, found: Evidence) -> float | None:
    """The price agreed, or None: one offer, then the seller's last word."""
    offer = first_offer(way, mind, advert, found)
    if offer >= car.least_price:
        return offer
    last_word = car.least_price + STANDS_AT * (advert.asking - car.least_price)
    return last_word if last_word <= most_to_pay(way, mind, advert, found) else None


def _owned(
    met: Stream, way: Way, mind: Mind, free_since: float, got: _Bought, finished: int
) -> tuple[CarResult, Mind]:
    advert, car = met.advert(got.number), met.car(got.number)
    flows = [Flow("search and checks", -got.money), Flow("price", -got.price)]
    flows.append(Flow("papers and fetching", -PAPERS - FETCHING))
    hours = got.hours + STRIPPING_HOURS
    decided = after_stripping(way, mind, advert.value, car.faults)
    ready = got.day + 2.0
    jobs: list[Job] = []
    waited = 0.0
    for fault in decided.mend:
        took, paid = true_hours(met.owner, car, fault, finished), true_money(met.owner, car, fault)
        hours += took
        ready += took / HOURS_A_DAY
        waited = max(waited, repair_of(fault).days)
        flows.append(Flow(f"mending {fault}", -paid))
        usual = repair_of(fault)
        jobs.append(Job(usual.repair, usual.hours_middle, took, measure=HOURS))
        jobs.append(Job(usual.repair, usual.money_middle, paid, measure=MONEY))
    ready += waited
    left = tuple(f for f in car.faults if f not in decided.mend)
    true_value = car.value * math.prod(1.0 - car.losses[f] for f in left)
    enquiries, exposure = 0, 0.0
    if decided.end == "sell":
        hours += READY_HOURS
        ready += READY_HOURS / HOURS_A_DAY
        shares = loss_shares()
        thought = advert.value * math.prod(1.0 - shares[f] for f in left)
        sold = _sold(met.owner, car, way, mind, thought, true_value)
        end, price, stood, enquiries, exposure = (
            sold.end,
            sold.price,
            sold.days,
            sold.enquiries,
            sold.exposure,
        )
        hours += ENQUIRY_HOURS * enquiries + SALE_HOURS
        flows.append(Flow("preparing and advert", -PREPARING))
    else:
        end = decided.end
        price, stood, spent = _way_out(end, true_value)
        hours += spent
    sold_on = ready + stood
    flows.append(Flow("holding", -CASH_PER_DAY * (sold_on - got.day)))
    flows.append(Flow("sale", price))
    result = CarResult(
        got.number, tuple(flows), hours, sold_on + 1.0 - free_since, got.day, sold_on, got.looked, got.seen, got.found,
        got.most, decided.mend, left, end, advert.value,
    )  # fmt: skip
    return result, after_sale(mind, enquiries, exposure, tuple(jobs)) if way.learns else mind


def _way_out(end: str, true_value: float) -> tuple[float, float, float]:
    """Money, days and own hours of a way out."""
    if end == "trade":
        return TRADE_SHARE * true_value, 3.0, 2.0
    if end == "part out":
        return PART_OUT, PART_OUT_HOURS / HOURS_A_DAY, PART_OUT_HOURS
    return SCRAP, 3.0, SCRAP_HOURS


@dataclass(frozen=True)
class _Sold:
    price: float
    days: float
    enquiries: int
    exposure: float
    end: str


def _sold(
    owner: HiddenOwner, car: HiddenCar, way: Way, mind: Mind, thought: float, true_value: float
) -> _Sold:
    """Week by week: a price, those who come, their offers; a trader at the end."""
    sale = SaleSoFar()
    enquiries = 0
    fall = owner.sensitivity / 2.0
    for week in range(WEEKS):
        asked = ask_now(way, mind, thought, sale)
        if asked.ask is None:
            return _Sold(TRADE_SHARE * true_value, week * WEEK + 2.0, enquiries, sale.exposure, "trade")
        comes = owner.enquiries / BUYERS_PER_DAY * math.exp(-fall * (asked.ask - true_value) / true_value)
        for buyer in car.buyers:
            if not week * WEEK <= buyer.day < (week + 1) * WEEK or buyer.luck >= comes:
                continue
            enquiries += 1
            price = _dealt(way, thought, asked, asked.ask, buyer, true_value, fall)
            if price is not None:
                exposure = sale.exposure + believed_exposure(asked.ask, thought) * (buyer.day - week * WEEK)
                return _Sold(price, buyer.day, enquiries, exposure, "sold")
        sale = SaleSoFar(
            week + 1, enquiries, sale.exposure + WEEK * believed_exposure(asked.ask, thought), asked.ask
        )
    return _Sold(TRADE_SHARE * true_value, WEEKS * WEEK, enquiries, sale.exposure, "trade")


def _dealt(
    way: Way, thought: float, asked: Asked, ask: float, buyer: Buyer, true_value: float, fall: float
) -> float | None:
    """What one who came pays, or None when he leaves."""
    pays = true_value * (1.0 + math.log(BUY_SHARE / max(buyer.pays, 1e-12)) / fall)
    if pays >= ask and buyer.haggles >= 0.5:
        return ask
    if pays < 0.8 * ask or (pays < ask and buyer.haggles >= 0.5):
        return None
    offer = min(pays, ask) * (0.92 + 0.14 * buyer.haggles)
    if answer(way, thought, asked, offer) == "accept":
        return offer
    if buyer.patience < 0.15:
        return None
    return max(asked.counter, offer) if pays >= asked.counter else None
