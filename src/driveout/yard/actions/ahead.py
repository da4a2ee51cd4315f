"""The yard ahead: what to do with each car, bays, cash, the next car, and what if."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import partial

from driveout.cars import Car
from driveout.cars.actions import list_cars
from driveout.errors import CannotSay
from driveout.hunt.weigh import SPEED_KM_PER_HOUR, VIEWING_HOURS
from driveout.lessons.actions import IN_HAND, CashToCome, cash_to_come, frozen_estimate
from driveout.outlook import actions as outlook
from driveout.outlook import ceiling_from
from driveout.outlook.ahead import Ahead
from driveout.outlook.endings import Endings
from driveout.repairs.actions import local
from driveout.rules import Rules
from driveout.rules.actions import rules_of
from driveout.store import Tx, remembered
from driveout.units import Money
from driveout.yard.actions.rows import held_of
from driveout.yard.bays import MOST_BAYS, BayUse, Stay, bay_use
from driveout.yard.renewal import Chance, LongRun, long_run
from driveout.yard.steps import capital_per_day
from driveout.yard.verdict import Verdict, verdict
from driveout.yard.what_if import Affordable, Change, Standing, WhatIf, YardNow, affordable, what_if

#: days until a car worth buying turns up, when nothing is typed; common practice, no source
USUAL_SEARCH_DAYS = 14.0
#: adverts that are reckoned through, best first by their outlook
MOST_ADVERTS = 6
LEAST_FOR_RATE = 2


@dataclass(frozen=True)
class InHand:
    """One car in hand: what is to come of it, what it still costs on average, the choices, and what to do; or what is missing."""

    car: Car
    ahead: Ahead | None = None
    to_pay: float = 0.0
    endings: Endings | None = None
    verdict: Verdict | None = None
    missing: str = ""


@dataclass(frozen=True)
class NextCar:
    """An advert as the next car: at which price, what it brings, whether it fits the purse.

    Parameters
    ----------
    car
        The advert.
    ceiling
        Walk-away price: the most it may cost.
    price
        The lower of that and what is asked; the gain is counted at it.
    gain
        What it brings then, own hours at the wage taken off. [minor units]
    hours, days
        Own hours and days from buying to sold, on average.
    purse
        Least cash with and without it, bought at the walk-away price.
    """

    car: Car
    ceiling: Money
    price: Money
    gain: float
    hours: float
    days: float
    purse: Affordable
    standing: Standing

    @property
    def per_bay_day(self) -> float:
        """Gain for each day in a bay. [minor units/day]."""
        return self.gain / self.days if self.days > 0 else 0.0


@dataclass(frozen=True)
class YardAhead:
    """Everything on the page. Rates in minor units a day or hour."""

    currency: str
    cars: tuple[InHand, ...]
    bays: BayUse
    cash: CashToCome
    nexts: tuple[NextCar, ...]
    per_day: LongRun | None
    per_hour: LongRun | None
    rate_missing: str
    yard: YardNow
    run: WhatIf


@dataclass(frozen=True)
class Typed:
    """What the person typed on the page; None leaves what is recorded. Money in minor units."""

    bays: int | None = None
    keep: float = 0.0
    search_days: float = USUAL_SEARCH_DAYS
    change: Change = field(default_factory=Change)
    add: int = 0


def yard_ahead(tx: Tx, typed: Typed, *, at: datetime, currency: str = "USD") -> YardAhead:
    """What to do with each car in hand, and what the yard as a whole comes to.

    Parameters
    ----------
    tx
        Open transaction.
    typed
        Bays, cash to keep, days of search, and what is to be tried out.
    at
        Present moment.
    currency
        Cars in this currency are counted.

    Returns
    -------
    YardAhead
        Cars, bays, cash, the next car, and the yard before and after the change.
    """
    rules, day = rules_of(tx, currency).rules, local(at).date()
    mine = [car for car in list_cars(tx) if car.currency == currency]
    in_hand = [_in_hand(tx, car) for car in mine if car.stage in IN_HAND]
    bays = typed.bays or min(max(len(in_hand), 1), MOST_BAYS)
    stays = [Stay(one.car.id, one.car.name, _since(tx, one.car, at), _until(one, at)) for one in in_hand]
    use = bay_use(stays, bays, day)
    cash = cash_to_come(tx, day, currency)
    yard = YardNow(
        tuple(_standing(tx, one, rules) for one in in_hand if one.ahead is not None),
        rules.hours_per_week,
        rules.wage_per_hour,
        bays,
        float(cash.ahead.opening.minor),
    )
    nexts = _nexts(tx, mine, rules, yard, typed.keep)
    per_day, per_hour, missing = _rates(nexts, typed.search_days)
    full = use.free_now == 0 and per_day is not None
    cars = [_judged(tx, one, per_day.rate if full and per_day is not None else None) for one in in_hand]
    added = next((one.standing for one in nexts if one.car.id == typed.add), None)
    return YardAhead(
        currency,
        tuple(cars),
        use,
        cash,
        tuple(nexts),
        per_day,
        per_hour,
        missing,
        yard,
        what_if(yard, replace(typed.change, added=added)),
    )


def _in_hand(tx: Tx, car: Car) -> InHand:
    try:
        return outlook.kept_outlook(tx, "in hand", car.id, lambda: _gone_on_with(tx, car))
    except CannotSay as unknown:
        return InHand(car, missing=unknown.message)


def _gone_on_with(tx: Tx, car: Car) -> InHand:
    made, ahead = outlook.forecast_of(tx, car.id), outlook.ahead(tx, car.id)
    to_pay = max(made.resale.mean - ahead.money.mean, 0.0)
    return InHand(car, ahead, to_pay, outlook.endings(tx, car.id))


def _judged(tx: Tx, one: InHand, next_per_day: float | None) -> InHand:
    if one.ahead is None or one.endings is None:
        return one
    planned = remembered(tx, ("hours planned", one.car.id), partial(_planned, tx, one.car.id), car=one.car.id)
    done = held_of(tx, one.car).hours
    return replace(one, verdict=verdict(one.ahead, one.endings, next_per_day, planned, done))


def _planned(tx: Tx, car_id: int) -> float:
    estimate = frozen_estimate(tx, car_id)
    return sum(line.planned_minutes for line in estimate.lines) / 60.0 if estimate else 0.0


def _since(tx: Tx, car: Car, at: datetime) -> date:
    return held_of(tx, car).since or local(at).date()


def _until(one: InHand, at: datetime) -> date | None:
    return None if one.ahead is None else local(at).date() + timedelta(days=round(one.ahead.days.middle))


def _standing(tx: Tx, one: InHand, rules: Rules) -> Standing:
    assert one.ahead is not None
    ahead = one.ahead
    spent = float(held_of(tx, one.car).money.minor)
    work_days = ahead.hours.mean / rules.hours_per_day
    return Standing(
        one.car.id,
        one.car.name,
        ahead.money.mean,
        one.to_pay,
        ahead.hours.mean,
        max(ahead.days.mean - work_days, 0.0),
        rules.holding_per_day + capital_per_day(spent, rules.capital_share_per_year),
    )


def _nexts(tx: Tx, cars: list[Car], rules: Rules, yard: YardNow, keep: float) -> list[NextCar]:
    adverts = []
    for car in cars:
        if car.stage in ("advert", "viewing"):
            point = outlook.newest_point(tx, car.id)
            if point is not None and point.profit_mean_minor is not None and (point.ceiling_minor or 0) > 0:
                adverts.append((point.profit_mean_minor - (point.wage_mark_minor or 0), car))
    adverts.sort(key=lambda one: (-one[0], one[1].id))
    found = []
    for _, car in adverts[:MOST_ADVERTS]:
        try:
            found.append(_next(tx, car, rules, yard, keep))
        except CannotSay:
            continue
    return sorted(found, key=lambda one: -one.per_bay_day)


def _next(tx: Tx, car: Car, rules: Rules, yard: YardNow, keep: float) -> NextCar:
    made = outlook.forecast_of(tx, car.id)
    ceiling = ceiling_from(made).money
    asked = int(car.facts.get("asking_minor") or ceiling.minor)
    price = Money(min(asked, ceiling.minor), car.currency)
    ahead = outlook.ahead(tx, car.id)
    money = made.cash.mean - price.minor * made.price_factor
    idle = max(ahead.days.mean - ahead.hours.mean / rules.hours_per_day, 0.0)

    def standing(paid: float, quantile: float = 0.5) -> Standing:
        return Standing(
            car.id,
            car.name,
            made.cash.mean - paid * made.price_factor,
            max(made.cash.cost.quantile(quantile), 0.0) + paid * made.price_factor,
            ahead.hours.mean,
            idle,
            rules.holding_per_day + capital_per_day(paid, rules.capital_share_per_year),
            is_here=False,
        )

    return NextCar(
        car,
        ceiling,
        price,
        money - rules.wage_per_hour * ahead.hours.mean,
        ahead.hours.mean,
        ahead.days.mean,
        affordable(yard, standing(float(ceiling.minor), 0.9), keep),
        standing(float(price.minor)),
    )


def _rates(nexts: list[NextCar], search: float) -> tuple[LongRun | None, LongRun | None, str]:
    """Long-run gain for each bay-day, and money for each own hour, over the adverts in the record."""
    if len(nexts) < LEAST_FOR_RATE:
        return (
            None,
            None,
            (
                f"{len(nexts)} advert{'' if len(nexts) == 1 else 's'} with an outlook; from {LEAST_FOR_RATE} on it can be "
                "said what a day of a bay brings with the next cars."
            ),
        )
    by_day = long_run([Chance(one.car.name, one.gain, one.days) for one in nexts], search)
    looking = [
        VIEWING_HOURS + 2.0 * float(one.car.facts.get("distance_km") or 0.0) / SPEED_KM_PER_HOUR
        for one in nexts
    ]
    by_hour = long_run(
        [Chance(one.car.name, one.standing.money, one.hours) for one in nexts], sum(looking) / len(looking)
    )
    return by_day, by_hour, ""
