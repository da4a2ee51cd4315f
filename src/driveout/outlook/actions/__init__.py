"""What keeps the outlook alive: recompute it from everything known, and change the person's rules."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from html import escape
from typing import Any, TypeVar

from driveout.cars import Car
from driveout.cars.actions import change_facts, get_car, newest_events, note_event, numbers_in
from driveout.errors import BadEntry, CannotSay, DriveoutError
from driveout.faults import Pack, Posterior
from driveout.faults.actions import class_of, evidence_of, knowledge_of, posterior_by, traits_of
from driveout.faults.shipped import network_of
from driveout.lessons import HOURS, MONEY, EstimateLine, Job, fit
from driveout.lessons.actions import HISTORY_TABLES, IN_HAND, history
from driveout.market.actions import latest_appraisal
from driveout.outlook import records
from driveout.outlook.actions.known import DELAY, known_of, present_day
from driveout.outlook.actuals import with_actuals
from driveout.outlook.ahead import Ahead, ahead_from
from driveout.outlook.book import Charge
from driveout.outlook.car_case import car_case, chances_or_draws, check_currency, no_value, usual_faults
from driveout.outlook.endings import GO_ON, Endings, usual_ways_out, ways_to_end
from driveout.outlook.estimates import lines_of as estimate_lines
from driveout.outlook.forecast import Case, Forecast, Outlook
from driveout.outlook.from_catalogue import FaultFacts, Plan
from driveout.outlook.must_be import Needed, what_must_be_true
from driveout.outlook.records import Point
from driveout.outlook.shown import outlook_as_data
from driveout.outlook.spread import FINE
from driveout.outlook.strip import NARROW, WIDE, StripBand, strip_svg
from driveout.outlook.walk_away import Ceiling, ceiling_from
from driveout.repairs import Catalogue
from driveout.repairs.actions import catalogue_of
from driveout.rules import default_rules
from driveout.rules.actions import rules_of
from driveout.store import Tx, remembered
from driveout.uncertain import ThreePoint
from driveout.units import Money

__all__ = [
    "POINTS",
    "OwnWays",
    "ahead",
    "endings",
    "moved",
    "must_be_true",
    "own_ways",
    "set_own_ways",
    "BEFORE_BUYING",
    "Present",
    "BestEnding",
    "best_ending",
    "band_of",
    "band_of_point",
    "case_of",
    "default_rules",
    "fault_facts",
    "forecast_of",
    "kept_outlook",
    "lines_of",
    "newest_point",
    "note_delay",
    "outlook_of",
    "plan_of",
    "refresh",
    "strip",
    "trail",
    "value_of",
]

T = TypeVar("T")
#: grid points of an outlook; the same everywhere, so that every screen shows the same cents
POINTS = FINE


@dataclass(frozen=True, eq=False)
class Present:
    """Everything known about a car, as an outlook is made from it.

    Parameters
    ----------
    car
        The car.
    case
        What the outlook is made from.
    posterior
        Chances of the faults.
    catalogue
        Known repairs.
    today
        Day of the newest event, as of which it stands.
    """

    car: Car
    case: Case
    posterior: Posterior
    catalogue: Catalogue
    today: date | None = None


def refresh(tx: Tx, car_id: int, reason: str, *, at: datetime) -> Point:
    """Recompute a car's outlook and add it to the trail if it says something new.

    Called after every noted fact, in the same transaction. Never refuses: what is not known is
    said in the point.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    reason
        The fact that led to it, as a sentence.
    at
        Present moment.

    Returns
    -------
    Point
        The newest point of the trail.
    """
    newest = records.newest_point(tx, car_id)
    values = _point_values(tx, car_id)
    if newest is not None and newest.says_the_same(values):
        return newest
    return records.add_point(tx, {"car_id": car_id, "at": at, "reason": reason[:2000], **values})


def newest_point(tx: Tx, car_id: int) -> Point | None:
    """The outlook as it was last renewed; None before the first fact."""
    return remembered(tx, ("newest point", car_id), lambda: records.newest_point(tx, car_id), car=car_id)


def trail(tx: Tx, car_id: int) -> list[Point]:
    """How the outlook moved with each fact, oldest first, without the breakdowns."""
    return records.points(tx, car_id, whole=False)


def band_of(tx: Tx, car_id: int) -> StripBand | None:
    """What the outlook strip of a car shows; None while nothing can be said."""
    point = records.newest_point(tx, car_id)
    return None if point is None else band_of_point(point)


def band_of_point(point: Point) -> StripBand | None:
    """What the strip shows of one point of the trail."""
    low, middle, high = point.profit_p10_minor, point.profit_p50_minor, point.profit_p90_minor
    if low is None or middle is None or high is None:
        return None
    return StripBand(
        low,
        middle,
        high,
        point.wage_mark_minor or 0,
        point.currency,
        point.loss_chance or 0.0,
        point.ceiling_minor,
    )


def strip(tx: Tx, car_id: int) -> str:
    """The outlook strip of a car as markup; everything in it is escaped."""
    points = records.points(tx, car_id, 2, whole=False)
    if not points:
        return ""
    newest = points[-1]
    band = band_of_point(newest)
    link = f'<a href="/cars/{car_id}/outlook">How this came about</a>'
    if band is None:
        return f'<p class="soft">No outlook yet. {escape(newest.missing)} {link}</p>'
    name = f"strip-{car_id}"
    parts = [
        f'<div class="on-phone">{strip_svg(band, name + "-n", NARROW)}</div>',
        f'<div class="on-desk">{strip_svg(band, name + "-w", WIDE)}</div>',
        f"<p>{escape(_facts_line(newest))} {link}</p>",
    ]
    if len(points) > 1:
        parts.append(f'<p class="soft">{escape(f"{newest.reason}: {moved(points[-2], newest)}.")}</p>')
    return "".join(parts)


def case_of(tx: Tx, car_id: int) -> Present:
    """Everything known about a car, ready for an outlook.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.

    Returns
    -------
    Present
        The case with its posterior and the repairs it was made with.

    Raises
    ------
    CannotSay
        If no value of the mended car is known, the rules are in another currency, or the findings
        contradict each other.
    """
    return kept_outlook(tx, "case", car_id, lambda: _case_of(tx, car_id), is_large=True)


def forecast_of(tx: Tx, car_id: int) -> Forecast:
    """The forecast that a car's outlook is drawn from, made once for each fact; raises as `case_of`."""
    return kept_outlook(
        tx, "forecast", car_id, lambda: Forecast(case_of(tx, car_id).case, POINTS), is_large=True
    )


def kept_outlook(tx: Tx, name: str, car_id: int, build: Callable[[], T], *, is_large: bool = False) -> T:
    """Keep what is drawn from a car's outlook until something it is made from changes.

    Parameters
    ----------
    tx
        Open transaction.
    name
        Name of the value.
    car_id
        The car.
    build
        Works it out from the car's case.
    is_large
        Whether few of these are kept.

    Returns
    -------
    T
        The value.
    """
    taught, pack = plan_of(tx), knowledge_of(tx)
    # Both are kept beside the value, so that no other object can take their numbers.
    return remembered(
        tx,
        (name, car_id),
        lambda: (taught, pack, build()),
        tables=("rules_own", "wear_maker_limit", "wear_seller_rule"),
        car=car_id,
        given=(id(taught), id(pack)),
        is_large=is_large,
        from_facts=True,
    )[2]


def _case_of(tx: Tx, car_id: int) -> Present:
    car = get_car(tx, car_id)
    rules = rules_of(tx, car.currency).rules
    check_currency(rules, car.currency)
    value, note, is_average = _value(tx, car)
    pack = knowledge_of(tx)
    network = network_of(pack, class_of(car), traits_of(car))
    posterior = posterior_by(network, evidence_of(tx, car_id, network))
    repairs, plan = catalogue_of(car), plan_of(tx)
    asking = car.facts.get("asking_minor")
    case = car_case(
        posterior,
        repairs,
        rules,
        value,
        price=None if asking is None else float(asking),
        distance_km=car.facts.get("distance_km"),
        facts=_fault_facts(pack),
        plan=plan,
        notes=(note,) if note else (),
    )
    if is_average:
        case = replace(case, usual=_usual(pack, car, case))
    return Present(
        car, with_actuals(case, repairs, known_of(tx, car), plan), posterior, repairs, present_day(tx, car_id)
    )


def _usual(pack: Pack, car: Car, case: Case) -> tuple[float, float]:
    """What usual faults take on average off a car of this age and distance that runs."""
    prior = chances_or_draws(posterior_by(network_of(pack, "runner", traits_of(car)), {}))
    charge = Forecast(case).cash_charge
    key = (id(prior), id(case.book), charge)
    found = _usuals.get(key)
    if found is None or found[0] is not prior or found[1] is not case.book:
        if len(_usuals) >= MOST_USUALS:
            _usuals.clear()
        # both are kept with their numbers, so that no other object can take them
        found = _usuals[key] = (prior, case.book, usual_faults(prior, case.book, charge))
    return found[2]


MOST_USUALS = 400
_usuals: dict[tuple[int, int, Charge], tuple[object, object, tuple[float, float]]] = {}


def value_of(tx: Tx, car_id: int) -> tuple[tuple[float, float, float], str]:
    """Low, likely, high of the sale price of the mended car, and where it comes from.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.

    Returns
    -------
    tuple[tuple[float, float, float], str]
        The range in minor units: the newest appraisal, else what the person stated; and a note.

    Raises
    ------
    CannotSay
        If there is neither.
    """
    points, note, _ = _value(tx, get_car(tx, car_id))
    return points, note


def _value(tx: Tx, car: Car) -> tuple[tuple[float, float, float], str, bool]:
    """The range, where it comes from, and whether it is that of average cars with usual faults."""
    found = latest_appraisal(tx, car.id)
    if found is not None:
        points = (float(found.low.minor), float(found.value.minor), float(found.high.minor))
        note = f"Value from {found.used} comparable{'' if found.used == 1 else 's'}."
        return points, note, found.refers_to == "average"
    stated = car.facts.get("clean_value_minor")
    if isinstance(stated, list | tuple) and len(stated) == 3:
        return (float(stated[0]), float(stated[1]), float(stated[2])), "", False
    raise no_value()


def plan_of(tx: Tx) -> Plan:
    """What finished cars taught about own hours and money, for the next estimates."""
    in_hand = tuple(numbers_in(tx, *IN_HAND))
    return remembered(tx, "taught", lambda: _taught(history(tx)), tables=HISTORY_TABLES, given=in_hand)


@lru_cache(maxsize=8)
def _taught(jobs: tuple[Job, ...]) -> Plan:
    hours = tuple(job for job in jobs if job.measure == HOURS)
    money = tuple(job for job in jobs if job.measure == MONEY)
    return Plan(hours=fit(hours) if hours else None, money=fit(money) if money else None)


def fault_facts(tx: Tx) -> Mapping[str, FaultFacts]:
    """Name and loss of value of every fault of the person's knowledge."""
    return _fault_facts(knowledge_of(tx))


def outlook_of(tx: Tx, car_id: int) -> tuple[Outlook, Ceiling]:
    """The outlook of a car as it stands now, and its walk-away price."""
    made = forecast_of(tx, car_id)
    return made.outlook(), ceiling_from(made)


def lines_of(tx: Tx, car_id: int, price_minor: int | None = None) -> tuple[EstimateLine, ...]:
    """The present estimate of a car, line by line, for freezing at the decision.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    price_minor
        Price agreed; the asking price if left out. [minor units]

    Returns
    -------
    tuple[EstimateLine, ...]
        Purchase, foreseen lines, likely repairs, reserve for what may be there.

    Raises
    ------
    CannotSay
        If no outlook can be made.
    """
    return estimate_lines(case_of(tx, car_id).case, None if price_minor is None else float(price_minor))


def _point_values(tx: Tx, car_id: int) -> dict[str, Any]:
    car = get_car(tx, car_id)
    currency = car.currency
    try:
        present = case_of(tx, car_id)
        made = forecast_of(tx, car_id)
        outlook = made.outlook()
    except DriveoutError as trouble:
        return _nothing(currency, trouble.message)
    except (ArithmeticError, LookupError, ValueError) as slip:
        # a slip of ours must never keep the person from recording a fact
        return _nothing(currency, f"The outlook could not be computed ({type(slip).__name__}: {slip}).")
    values: dict[str, Any] = {
        "currency": currency,
        "profit_p10_minor": round(outlook.profit.low),
        "profit_p50_minor": round(outlook.profit.middle),
        "profit_p90_minor": round(outlook.profit.high),
        "profit_mean_minor": round(outlook.profit.mean),
        "loss_chance": outlook.loss_chance,
        "hours_p10": outlook.hours.low,
        "hours_p50": outlook.hours.middle,
        "hours_p90": outlook.hours.high,
        "days_p10": outlook.days.low,
        "days_p50": outlook.days.middle,
        "days_p90": outlook.days.high,
        "ceiling_minor": None,
        "binding": "",
        "wage_mark_minor": round(made.case.rules.wage_per_hour * outlook.hours.mean),
        "missing": "; ".join(outlook.notes),
        "breakdown": outlook_as_data(outlook),
        **_days(present, outlook),
    }
    if car.stage in IN_WORK:
        best = _best_ending(tx, car_id)
        values["breakdown"]["ending"] = None if best is None else vars(best)
    if car.stage == "sold":
        values |= _as_booked(outlook)
    if car.stage in BEFORE_BUYING:
        try:
            ceiling = ceiling_from(made)
            values["ceiling_minor"], values["binding"] = ceiling.money.minor, ceiling.binding
            values["breakdown"]["rules"] = [
                {
                    "rule": r.rule,
                    "price_minor": r.minor,
                    "why": r.why,
                    "chosen": r.rule in ceiling.chosen,
                }
                for r in ceiling.rules
            ]
        except CannotSay as trouble:
            values["missing"] = "; ".join(part for part in (values["missing"], trouble.message) if part)
    return values


FINISHED = ("sold", "let go")
IN_WORK = ("bought", "in work")
BEFORE_BUYING = ("advert", "viewing", "let go")


def _as_booked(outlook: Outlook) -> dict[str, Any]:
    """A sold car has one profit and one number of hours: those in the books."""
    profit, hours = round(outlook.profit.mean), outlook.hours.mean
    return {
        "profit_p10_minor": profit,
        "profit_p50_minor": profit,
        "profit_p90_minor": profit,
        "loss_chance": float(profit < 0),
        "hours_p10": hours,
        "hours_p50": hours,
        "hours_p90": hours,
    }


DAY_COLUMNS = (
    "finish_p10",
    "finish_p50",
    "finish_p80",
    "finish_p90",
    "sale_p10",
    "sale_p50",
    "sale_p90",
)


def _days(present: Present, outlook: Outlook) -> dict[str, str | None]:
    """Calendar days of finish and sale; none for a car that is sold or whose day is not known."""
    today, gone = present.today, present.case.elapsed_days
    if today is None or present.car.stage == "sold":
        return dict.fromkeys(DAY_COLUMNS)
    finish, sale = outlook.finish, outlook.days
    ahead = (finish.low, finish.middle, outlook.finish_p80, finish.high, sale.low, sale.middle, sale.high)
    return {
        name: (today + timedelta(days=round(days - gone))).isoformat()
        for name, days in zip(DAY_COLUMNS, ahead, strict=True)
    }


def note_delay(tx: Tx, car_id: int, days: float, why: str, *, at: datetime) -> None:
    """Say that work on a car cannot go on for some days; the days of finish and sale move.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    days
        From today, above 0. [days]
    why
        In the person's words.
    at
        Present moment.

    Raises
    ------
    BadEntry
        If the days are not above 0 and at most 365, or no reason is given.
    """
    car = get_car(tx, car_id)
    if not 0.0 < days <= 365.0:
        raise BadEntry(
            f"A delay of {days:g} days was typed.", field="days", value=days, allowed="above 0, at most 365"
        )
    if not why.strip():
        raise BadEntry("Say what the delay is about.", field="why", value=why)
    if car.stage in FINISHED:
        raise BadEntry(
            f"{car.name} is {car.stage}; nothing of it can be delayed.",
            field="stage",
            value=car.stage,
        )
    until = (at + timedelta(days=days)).date()
    summary = f"Delay of {days:g} day{'' if days == 1 else 's'}: {why.strip()[:200]}"
    note_event(tx, car_id, DELAY, summary, {"until": until.isoformat(), "why": why.strip()[:200]}, at)


@dataclass(frozen=True)
class OwnWays:
    """What the person typed for the ways out of one car; None where the rules stand. [minor units, h, kg].

    Parameters
    ----------
    as_it_stands
        What it brings unmended, faults said.
    part_out, part_out_hours
        What it brings in parts, and the hours of parting.
    weight_kg, scrap_per_kg
        Its weight as scrap, and the scrap rate.
    origin
        Where the figures come from, in the person's words.
    """

    as_it_stands: float | None = None
    part_out: float | None = None
    part_out_hours: float | None = None
    weight_kg: float | None = None
    scrap_per_kg: float | None = None
    origin: str = ""


WAYS = "ways_out"


def own_ways(car: Car) -> OwnWays:
    """The figures typed for the ways out of a car."""
    kept = car.facts.get(WAYS)
    names = {one.name for one in fields(OwnWays)}
    return OwnWays(**{k: v for k, v in kept.items() if k in names}) if isinstance(kept, dict) else OwnWays()


def set_own_ways(tx: Tx, car_id: int, ways: OwnWays, *, at: datetime, version: int | None = None) -> Car:
    """Keep what the person typed for the ways out of a car; the trail keeps what stood there before.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    ways
        As typed, each 0 or more.
    at
        Present moment.
    version
        Version of the car that the person was looking at.

    Returns
    -------
    Car
        The car as it is now.

    Raises
    ------
    BadEntry
        If a figure is under 0, or only one of weight and scrap rate is given.
    """
    for one in fields(OwnWays):
        value = getattr(ways, one.name)
        if isinstance(value, float) and not 0.0 <= value < 1e12:
            raise BadEntry(f"{value:g} cannot stand here.", field=one.name, value=value, allowed="0 or more")
    if (ways.weight_kg is None) != (ways.scrap_per_kg is None):
        raise BadEntry("Scrap needs both the weight and the rate.", field="weight_kg")
    kept = {name: value for name, value in vars(ways).items() if value not in (None, "")}
    return change_facts(tx, car_id, {WAYS: kept or None}, at=at, version=version)


def ahead(tx: Tx, car_id: int) -> Ahead:
    """What is still to come of a car if it is gone on with: money, own hours, days, cash."""
    return kept_outlook(tx, "ahead", car_id, lambda: ahead_from(forecast_of(tx, car_id)))


def endings(tx: Tx, car_id: int) -> Endings:
    """Going on, selling as it stands, parting out and scrapping, compared by what is still to come.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.

    Returns
    -------
    Endings
        The choices with the person's own figures, best first.

    Raises
    ------
    CannotSay
        If no outlook can be made, or the car is not in hand.
    """
    return kept_outlook(tx, "endings", car_id, lambda: _endings(tx, car_id))


@dataclass(frozen=True)
class BestEnding:
    """The best of going on and the ways out: which, and what it and going on still bring. [minor units]."""

    key: str
    label: str
    worth: float
    going_on: float


def best_ending(tx: Tx, car_id: int) -> BestEnding | None:
    """The best of going on and the ways out as of the last fact; None when nothing can be said."""
    point = newest_point(tx, car_id)
    if point is None or "ending" not in point.breakdown:
        return _best_ending(tx, car_id)
    kept = point.breakdown["ending"]
    return None if kept is None else BestEnding(**kept)


def _best_ending(tx: Tx, car_id: int) -> BestEnding | None:
    try:
        found = endings(tx, car_id)
    except (DriveoutError, ArithmeticError, LookupError, ValueError):
        return None
    worth = {choice.key: choice.worth for choice in found.choices}
    label = next((choice.label for choice in found.choices if choice.key == found.best), found.best)
    return BestEnding(found.best, label, worth[found.best], worth[GO_ON])


def _endings(tx: Tx, car_id: int) -> Endings:
    present = case_of(tx, car_id)
    car, case = present.car, present.case
    if car.stage not in IN_HAND:
        raise CannotSay(
            f"{car.name} is at the stage {car.stage}; only a car that is yours can be given up.",
            missing="a car in hand",
        )
    typed = own_ways(car)
    offer = newest_events(tx, car_id, "offer").get("offer")
    is_open = offer is not None and offer.data.get("amount") and not offer.data.get("answer")
    ways = usual_ways_out(
        case.rules,
        math.sqrt(case.value[0] * case.value[1]),
        as_it_stands=typed.as_it_stands,
        part_out=typed.part_out,
        part_out_hours=typed.part_out_hours,
        offer=float(offer.data["amount"]) if offer is not None and is_open else None,
        weight_kg=typed.weight_kg,
        scrap_per_kg=typed.scrap_per_kg,
    )
    return ways_to_end(case, ways, POINTS, forecast_of(tx, car_id))


def must_be_true(tx: Tx, car_id: int) -> tuple[Needed, ...]:
    """What would have to be true for nothing to be lost, and for the wage to be reached.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.

    Returns
    -------
    tuple[Needed, ...]
        For each goal and each input alone, the value that would reach it.

    Raises
    ------
    CannotSay
        If no outlook can be made, or the car's story is over.
    """
    car = get_car(tx, car_id)
    if car.stage in FINISHED:
        raise CannotSay(f"{car.name} is {car.stage}: what it brought is booked.", missing="an open car")
    return kept_outlook(tx, "must be true", car_id, lambda: _must_be_true(tx, car_id))


def _must_be_true(tx: Tx, car_id: int) -> tuple[Needed, ...]:
    made = forecast_of(tx, car_id)
    return what_must_be_true(made.case, POINTS, made)


def _nothing(currency: str, missing: str) -> dict[str, Any]:
    empty = dict.fromkeys(
        (
            "profit_p10_minor",
            "profit_p50_minor",
            "profit_p90_minor",
            "profit_mean_minor",
            "loss_chance",
            "hours_p10",
            "hours_p50",
            "hours_p90",
            "days_p10",
            "days_p50",
            "days_p90",
            "ceiling_minor",
            "wage_mark_minor",
            *DAY_COLUMNS,
        )
    )
    return {**empty, "currency": currency, "binding": "", "missing": missing, "breakdown": {}}


def _fault_facts(pack: Pack) -> Mapping[str, FaultFacts]:
    found = _facts.get(id(pack))
    if found is None or found[0] is not pack:
        if len(_facts) >= MOST_PACKS:
            _facts.clear()
        # the pack is kept with its number, so that no other can take it
        found = _facts[id(pack)] = (pack, _facts_of(pack))
    return found[1]


MOST_PACKS = 8
_facts: dict[int, tuple[Pack, Mapping[str, FaultFacts]]] = {}


def _facts_of(pack: Pack) -> Mapping[str, FaultFacts]:
    return {
        fault.id: FaultFacts(
            fault.name,
            ThreePoint(*fault.value_loss) if max(fault.value_loss) > 0 else None,
            fault.safety == "critical",
        )
        for fault in pack.faults.values()
    }


def _facts_line(point: Point) -> str:
    said = []
    if point.ceiling_minor is not None:
        if point.ceiling_minor > 0:
            said.append(f"Walk away above {Money(point.ceiling_minor, point.currency).text()}.")
        else:
            said.append("Walk away at any price.")
    is_booked = point.profit_p10_minor == point.profit_p90_minor
    if point.loss_chance is not None and not is_booked:
        said.append(f"Loss in {100 * point.loss_chance:.0f} of 100.")
    if point.hours_p10 is not None and point.hours_p90 is not None:
        low, high = f"{point.hours_p10:.0f}", f"{point.hours_p90:.0f}"
        said.append(f"Own hours {low}." if low == high else f"Own hours {low} to {high}.")
    if point.finish_p50 and point.sale_p50:
        said.append(f"Finished about {point.finish_p50}, sold about {point.sale_p50}.")
    return " ".join(said)


def moved(before: Point | None, after: Point) -> str:
    """Which of profit, walk-away price, hours, day of finish and day of sale a fact has moved."""
    if before is None:
        return "first outlook"

    def money(minor: int | None) -> str:
        return "" if minor is None else Money(minor, after.currency).text()

    changes = [
        ("profit", money(before.profit_p50_minor), money(after.profit_p50_minor)),
        ("walk-away price", money(before.ceiling_minor), money(after.ceiling_minor)),
        ("own hours", _hours(before.hours_p50), _hours(after.hours_p50)),
        ("finish", before.finish_p50 or "", after.finish_p50 or ""),
        ("sale", before.sale_p50 or "", after.sale_p50 or ""),
    ]
    if after.ceiling_minor is None:
        del changes[1]
    if before.profit_p50_minor is not None and after.profit_p50_minor is None:
        return "profit no longer known"
    # What is no longer asked, like the finish of a sold car, has not moved.
    said = [
        f"{what} from {old} to {new}" if old else f"{what} {new}"
        for what, old, new in changes
        if new and old != new
    ]
    return "; ".join(said) or "the band only"


def _hours(value: float | None) -> str:
    return "" if value is None else f"{value:.1f} h"
