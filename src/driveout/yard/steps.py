"""From how each car stands to the things that could be done today, each with its reasons in money."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from driveout.units import Money
from driveout.yard.job import DAYLIGHT, CarInWork, Job, Pull, Reason, night_worth, pull_of
from driveout.yard.next_step import Step

MORE_ORDER_MINUTES = 5
# Own minutes of things that are no spanner work; common practice, no source.
ORDER_MINUTES, ANSWER_MINUTES, DESK_MINUTES, ERRAND_MINUTES, CHECK_PART_MINUTES = 15, 10, 30, 45, 15
#: tasks are shown together up to so many minutes
BLOCK_MINUTES = 60.0
#: share of offers that have gone cold by the next day; common practice, no source
COOLS_PER_DAY = 0.10
#: share of adverts of cheap cars that are gone by the next day; common practice, no source
GONE_PER_DAY = 1 / 14
_SHARE_CAPITAL_DAYS = 365.0


@dataclass(frozen=True)
class Line:
    """One task of a plan of work.

    Parameters
    ----------
    text
        What to do.
    minutes
        Own time. [min]
    needs
        Any of ``daylight``, ``helper``, ``rental``.
    waits_for
        A part that is not here, in words; empty for none.
    wait_hours
        Clock hours that pass after it, 0 for none. [h]
    """

    text: str
    minutes: float
    needs: frozenset[str] = frozenset()
    waits_for: str = ""
    wait_hours: float = 0.0


@dataclass(frozen=True)
class Chain:
    """Tasks of one job in order, and where they are recorded."""

    key: str
    name: str
    link: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class PartToDo:
    """Something to do about a part.

    Parameters
    ----------
    key, words
        Which, and what to do.
    kind
        ``order``, ``ask``, ``try``, ``return`` or ``core``.
    lead_hours
        Clock hours until it is here when ordered now. [h]
    work_behind
        Own hours of the car that wait for it. [h]
    by
        Last day, None when there is none.
    amount
        Money that is lost when the last day passes. [minor units]
    """

    key: str
    words: str
    kind: str
    lead_hours: float = 0.0
    work_behind: float = 0.0
    by: datetime.date | None = None
    amount: float = 0.0


@dataclass(frozen=True)
class OfferToDo:
    """An open offer: who, how much over the least to take, and since how many days. [minor units]."""

    key: str
    buyer: str
    amount: float
    over_take_it: float


@dataclass(frozen=True)
class VisitToDo:
    """A car to go and see: what going is worth, its own hours. [minor units, h]."""

    worth: float
    hours: float


@dataclass(frozen=True)
class CarNow:
    """One car as it stands today. Money in minor units.

    Parameters
    ----------
    car_id, name, stage, currency
        Which.
    step
        What it needs next by its stage.
    holding_per_day, capital_per_day, bay_per_day
        What each day until its sale costs: keeping it, the money in it, the bay that another car
        could have.
    hours_left
        Own hours until it can be sold. [h]
    chains
        Work that is planned.
    parts, offers
        What is open.
    visit
        For an advert.
    price_step
        New ask and what waiting with it costs a day; None when no step is due.
    """

    car_id: int
    name: str
    stage: str
    currency: str
    step: Step
    holding_per_day: float = 0.0
    capital_per_day: float = 0.0
    bay_per_day: float = 0.0
    hours_left: float = 0.0
    chains: tuple[Chain, ...] = ()
    parts: tuple[PartToDo, ...] = ()
    offers: tuple[OfferToDo, ...] = ()
    visit: VisitToDo | None = None
    price_step: tuple[float, float] | None = None

    @property
    def per_day(self) -> float:
        """All that one day more costs. [minor units/day]."""
        return self.holding_per_day + self.capital_per_day + self.bay_per_day

    def day_words(self) -> str:
        """What a day costs, in words."""
        return self._day_words

    @cached_property
    def _day_words(self) -> str:
        parts = [("keeping it", self.holding_per_day), ("the money in it", self.capital_per_day)]
        parts += [("the bay it stands in", self.bay_per_day)]
        said = [f"{self._text(worth)} for {what}" for what, worth in parts if worth > 0]
        if not said:
            return "nothing"
        return said[0] if len(said) == 1 else f"{self._text(self.per_day)} ({', '.join(said)})"

    def _text(self, minor: float) -> str:
        return Money(round(minor), self.currency).text()


def capital_per_day(money_in_it: float, share_per_year: float) -> float:
    """What the money tied up in a car costs a day. [minor units/day]."""
    return money_in_it * share_per_year / _SHARE_CAPITAL_DAYS


def in_work(cars: Sequence[CarNow]) -> tuple[CarInWork, ...]:
    """Cars that own hours bring nearer to their sale."""
    return tuple(
        CarInWork(car.car_id, car.name, car.hours_left, car.per_day) for car in cars if car.hours_left > 0
    )


def jobs_of(cars: Sequence[CarNow], hours_per_day: float, today: datetime.date) -> tuple[Job, ...]:
    """All that could be done today over all cars, with reasons in money.

    Parameters
    ----------
    cars
        Cars as they stand.
    hours_per_day
        Own hours a day on average. [h/day]
    today
        The day.

    Returns
    -------
    tuple of Job
        Any order.

    References
    ----------
    own-reasoning, docs/method/yard.md.
    """
    waiting = in_work(cars)
    pulls = pull_of(waiting, hours_per_day) if waiting else {}
    found: list[Job] = []
    for car in cars:
        work = _work(car, pulls.get(car.car_id), hours_per_day)
        desk = [*_offers(car), *_price(car), *_parts(car, hours_per_day, today), *_visit(car)]
        found += work + desk
        if not work and not desk and car.step.order < 9:
            found.append(_by_stage(car))
    return tuple(found)


def _job(
    car: CarNow, key: str, what: str, minutes: float, reasons: Sequence[Reason], link: str, **more: object
) -> Job:
    return Job(f"{car.car_id}:{key}", car.car_id, car.name, what, minutes, tuple(reasons), link, **more)  # type: ignore[arg-type]


def _work(car: CarNow, pull: Pull | None, hours_per_day: float) -> list[Job]:
    """Blocks of tasks, each chain in its order; a task that waits for a part holds up what follows."""
    found: list[Job] = []
    for chain in car.chains:
        before = ""
        for number, block in enumerate(blocks(chain.lines)):
            minutes = sum(line.minutes for line in block)
            last = block[-1]
            reasons = []
            if pull is not None and minutes > 0:
                reasons.append(Reason(_pull_words(car, pull, hours_per_day), pull.per_hour * minutes / 60.0))
            if last.wait_hours > 0:
                rest = max(car.hours_left - minutes / 60.0, 0.0)
                reasons.append(_night(car, last.wait_hours, _beside(car, chain, rest), hours_per_day))
            after = tuple(key for key in (before,) if key)
            held = next((line.waits_for for line in block if line.waits_for), "")
            if held:
                after = (*after, held)
            key = f"{chain.key}:{number}"
            what, detail = _block_words(chain, block)
            found.append(
                _job(
                    car,
                    key,
                    what,
                    minutes,
                    reasons,
                    chain.link,
                    after=after,
                    needs=block[0].needs,
                    starts_wait_hours=last.wait_hours,
                    detail=detail,
                )
            )
            before = f"{car.car_id}:{key}"
            if last.wait_hours > 0:
                before = f"the {_hours_words(last.wait_hours)} after “{last.text}”"
    return found


def _beside(car: CarNow, chain: Chain, rest: float) -> float:
    """Own hours of the car that do not stand behind a wait of this chain. [h]."""
    own = sum(line.minutes for line in chain.lines) / 60.0
    return max(rest - own, 0.0)


def blocks(lines: Sequence[Line]) -> list[tuple[Line, ...]]:
    """Tasks put together as long as they need the same and nothing has to cure between them."""
    found: list[tuple[Line, ...]] = []
    now: list[Line] = []
    for line in lines:
        full = sum(one.minutes for one in now) + line.minutes > BLOCK_MINUTES
        if now and (full or line.needs != now[0].needs or bool(line.waits_for)):
            found.append(tuple(now))
            now = []
        now.append(line)
        if line.wait_hours > 0:
            found.append(tuple(now))
            now = []
    if now:
        found.append(tuple(now))
    return found


def _block_words(chain: Chain, block: tuple[Line, ...]) -> tuple[str, str]:
    """What to do in a few words, and from which step to which."""
    if len(block) == 1:
        return f"{chain.name}: {block[0].text}", ""
    return f"{chain.name}: {len(block)} steps", f"from “{block[0].text}” to “{block[-1].text}”"


def _hours_words(hours: float) -> str:
    return f"{hours:g} h" if hours < 48 else f"{hours / 24:g} days"


def _pull_words(car: CarNow, pull: Pull, hours_per_day: float) -> str:
    nearer = f"each own hour brings its sale {24 / hours_per_day:.0f} h nearer; a day of it costs {car.day_words()}"
    if not pull.behind:
        return nearer
    count = len(pull.behind)
    names = ", ".join(pull.behind[:2]) + (f" and {count - 2} more" if count > 2 else "")
    return f"{nearer}; {names} {'waits' if count == 1 else 'wait'} behind it"


def _night(car: CarNow, wait_hours: float, beside: float, hours_per_day: float) -> Reason:
    worth = night_worth(car.per_day, wait_hours, beside, hours_per_day)
    words = f"started now, its {_hours_words(wait_hours)} run through the night"
    if worth <= 0:
        words += "; other work of this car covers them anyway"
    return Reason(words, worth)


def _offers(car: CarNow) -> list[Job]:
    found = []
    for offer in car.offers:
        amount = Money(round(offer.amount), car.currency).text()
        reasons = [Reason(f"a day without an answer costs {car.day_words()}", car.per_day)]
        if offer.over_take_it > 0:
            reasons.append(
                Reason(
                    f"it is above the least to take, and about {COOLS_PER_DAY:.0%} of offers go cold in a day "
                    "(common practice, no source)",
                    COOLS_PER_DAY * offer.over_take_it,
                )
            )
        who = offer.buyer or "the buyer"
        what = f"Answer {who}: {amount} offered"
        found.append(
            _job(car, f"offer:{offer.key}", what, ANSWER_MINUTES, reasons, f"/cars/{car.car_id}/sale")
        )
    return found


def _price(car: CarNow) -> list[Job]:
    if car.price_step is None:
        return []
    ask, waiting = car.price_step
    words = Money(round(ask), car.currency).text()
    reason = Reason("the plan steps down today; what waiting costs a day by the plan", waiting)
    return [_job(car, "ask", f"Put the price to {words}", DESK_MINUTES, [reason], f"/cars/{car.car_id}/sale")]


def _parts(car: CarNow, hours_per_day: float, today: datetime.date) -> list[Job]:
    link = f"/cars/{car.car_id}/parts"
    found = []
    orders = [part for part in car.parts if part.kind == "order"]
    if orders:
        # One sitting orders them all, and the slowest of them decides.
        minutes = ORDER_MINUTES + MORE_ORDER_MINUTES * (len(orders) - 1)
        slowest = max((_coming(car, part, hours_per_day) for part in orders), key=lambda one: one.minor)
        words = orders[0].words if len(orders) == 1 else f"Order {len(orders)} parts: {_listed(orders)}"
        found.append(_job(car, "orders", words, min(minutes, 120), [slowest], link))
    for part in car.parts:
        if part.kind == "order":
            continue
        reasons = [_coming(car, part, hours_per_day)] if part.kind == "ask" else []
        if part.amount > 0:
            reasons.append(_last_day(car, part, today))
        minutes = {"ask": ANSWER_MINUTES, "try": CHECK_PART_MINUTES}.get(part.kind, ERRAND_MINUTES)
        found.append(_job(car, f"part:{part.key}", part.words, minutes, reasons, link))
    return found


def _listed(parts: Sequence[PartToDo]) -> str:
    names = [part.words.removeprefix("Order ") for part in parts]
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def _coming(car: CarNow, part: PartToDo, hours_per_day: float) -> Reason:
    """What it is worth that a part comes a day earlier."""
    beside = max(car.hours_left - part.work_behind, 0.0)
    worth = night_worth(car.per_day, part.lead_hours, beside, hours_per_day)
    words = f"it takes {_hours_words(part.lead_hours)} to come"
    if worth > 0:
        return Reason(
            f"{words}, and work for it is reached before that: a day costs {car.day_words()}", worth
        )
    return Reason(f"{words}, and other work fills that time", 0.0)


def _last_day(car: CarNow, part: PartToDo, today: datetime.date) -> Reason:
    amount = Money(round(part.amount), car.currency).text()
    if part.by is None:
        return Reason(f"{amount} come back; no last day is known", part.amount / 30.0)
    left = (part.by - today).days
    if left < 0:
        return Reason(f"its last day was {part.by}; ask for the {amount} all the same", 0.0)
    words = f"{amount} come back until {part.by}"
    return Reason(words + (", which is today" if left == 0 else ""), part.amount / (left + 1))


def _visit(car: CarNow) -> list[Job]:
    if car.visit is None or car.visit.worth <= 0:
        return []
    reason = Reason(
        f"going is worth {Money(round(car.visit.worth), car.currency).text()}, and about 1 advert in "
        f"{1 / GONE_PER_DAY:.0f} is gone by the next day (common practice, no source)",
        GONE_PER_DAY * car.visit.worth,
    )
    minutes = min(math.ceil(60.0 * car.visit.hours), 1440)
    return [
        _job(
            car,
            "visit",
            "Go and see it",
            minutes,
            [reason],
            f"/cars/{car.car_id}/viewing",
            needs=frozenset({DAYLIGHT}),
        )
    ]


def _by_stage(car: CarNow) -> Job:
    """The step that the stage of the car asks for; a car ready for sale loses a day with each day."""
    reasons = [Reason(car.step.because)]
    if car.stage in ("bought", "in work") or (car.stage == "for sale" and car.step.order < 3):
        reasons.append(Reason(f"nothing goes on before that; a day costs {car.day_words()}", car.per_day))
    return _job(car, "next", car.step.what, DESK_MINUTES, reasons, car.step.link)
