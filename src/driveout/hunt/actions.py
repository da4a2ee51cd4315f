"""What the person does with adverts: keep one, correct what was read, weigh it, buy the car or let it go."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from threading import Lock
from typing import Any
from weakref import WeakKeyDictionary

from sqlalchemy import Engine

from driveout.cars import Car
from driveout.cars.actions import add_car, change_facts, change_stage, get_car, list_cars, note_event
from driveout.errors import BadEntry, CannotSay
from driveout.faults import SILENT, SUPPOSED
from driveout.faults.actions import (
    findings_of,
    knowledge_of,
    own_pack,
    record_finding,
    take_back_finding,
)
from driveout.hunt import records
from driveout.hunt.advert import Advert, MoneyRange, Seller, Symptom, held_to_today
from driveout.hunt.phrases import pack_phrases
from driveout.hunt.reader import ReadAdvert, item_from_data, read_advert
from driveout.hunt.reading import value_text
from driveout.hunt.records import Snapshot
from driveout.hunt.setting import Setting
from driveout.hunt.visits import LeftOut, Visits, order_visits
from driveout.hunt.weigh import Weighing, weighing_of_case
from driveout.lessons.actions import freeze
from driveout.lessons.next_job import with_learned
from driveout.money.actions import book_purchase
from driveout.outlook import Forecast, Rules, car_case
from driveout.outlook.actions import case_of, fault_facts, kept_outlook, lines_of, newest_point, plan_of
from driveout.rules.actions import change_rules, rules_of
from driveout.store import Tx
from driveout.units import Money

# Facts of an advert that stand among the car's free facts, by their name there.
_PLAIN_FACTS = ("title", "runs", "gearbox", "drive", "distance_km", "place")

# Weighings of adverts as their outlook was last renewed: many adverts are put in order again and again.
_lock = Lock()
_weighings: WeakKeyDictionary[Engine, dict[int, tuple[tuple[int, int, int], Weighing]]] = WeakKeyDictionary()


def reading_of(tx: Tx, text: str, currency: str, at: datetime) -> ReadAdvert:
    """Read a pasted text with the person's own pack; nothing is kept.

    Parameters
    ----------
    tx
        Open transaction.
    text
        What was pasted.
    currency
        Currency when the text names none.
    at
        Present moment.

    Returns
    -------
    ReadAdvert
        What was read.
    """
    return read_advert(text, phrases=phrases_in_use(tx), today_year=at.year, currency=currency)


def phrases_in_use(tx: Tx) -> tuple[tuple[str, str], ...]:
    """Pairs of finding and phrase, the person's own pack included."""
    own = own_pack(tx)
    return pack_phrases(own.content if own is not None and own.content.strip() else None)


def setting_of(tx: Tx, currency: str) -> Setting:
    """The person's rules and knowledge for weighing an advert that is not kept."""
    own = own_pack(tx)
    return Setting(
        rules_of(tx, currency).rules,
        own_pack=own.content if own is not None and own.content.strip() else None,
    )


def add_advert(
    tx: Tx,
    advert: Advert,
    *,
    at: datetime,
    original: str = "",
    shown: str = "",
    items: Sequence[dict[str, Any]] = (),
) -> Car:
    """Put an advert into the yard: a car, its facts, what the advert says as findings, and the words.

    Parameters
    ----------
    tx
        Open transaction.
    advert
        The facts, corrected by the person.
    at
        Present moment.
    original
        The text exactly as pasted.
    shown
        The text as shown, which the items point into.
    items
        What was read in it, as plain data; what the person put right is marked ``taken_out``.

    Returns
    -------
    Car
        The new car in stage ``advert``.

    Raises
    ------
    BadEntry
        If a fact is outside what it can be, or a symptom is not known.
    """
    held_to_today(advert, at.date())
    car = add_car(
        tx,
        name=advert.name or _name_for(advert),
        currency=advert.currency,
        at=at,
        made_year=advert.made_year,
        mileage_km=advert.mileage_km,
        # An advert was read, by the program or by eye: what it does not mention counts a little.
        facts=facts_of(advert) | {"advert_text": True},
    )
    for symptom in advert.symptoms:
        record_finding(
            tx,
            car.id,
            finding=symptom.finding,
            outcome=symptom.counts_as,
            origin="advert",
            note=symptom.words[:400],
            at=at,
        )
    if original:
        records.add(
            tx,
            {
                "car_id": car.id,
                "original": original,
                "sha256": hashlib.sha256(original.encode("utf-8", "surrogatepass")).hexdigest(),
                "shown": shown or original,
                "items": list(items),
                "at": at,
            },
        )
    return get_car(tx, car.id)


def advert_of(tx: Tx, car_id: int) -> Advert:
    """The advert of a car as it stands now, corrections included."""
    car = get_car(tx, car_id)
    facts = car.facts
    asking, value = facts.get("asking_minor"), facts.get("clean_value_minor")
    seen = facts.get("seen_on")
    snapshot = records.newest(tx, car_id)
    return Advert(
        name=car.name,
        currency=car.currency,
        asking=None if asking is None else Money(int(asking), car.currency),
        made_year=car.made_year,
        mileage_km=car.mileage_km,
        title=facts.get("title", "unknown"),
        runs=facts.get("runs"),
        gearbox=facts.get("gearbox"),
        drive=facts.get("drive"),
        is_turbo=facts.get("turbo"),
        clean_value=None if value is None else MoneyRange(*(Money(int(m), car.currency) for m in value)),
        symptoms=tuple(
            Symptom(
                f.finding,
                "no" if f.outcome in ("no", SILENT) else "yes",
                f.outcome in (SUPPOSED, SILENT),
                f.note,
            )
            for f in findings_of(tx, car_id)
            if f.origin == "advert"
        ),
        traps=tuple(facts.get("traps", ())),
        extras=tuple(facts.get("extras", ())),
        seller=Seller(**facts.get("seller", {})),
        place=facts.get("place", ""),
        distance_km=facts.get("distance_km"),
        seen_on=None if seen is None else date.fromisoformat(seen),
        text=snapshot.shown if snapshot is not None else "",
    )


def facts_of(advert: Advert) -> dict[str, Any]:
    """The advert's facts under their names among a car's facts; unknown ones are left out."""
    facts: dict[str, Any] = {name: getattr(advert, name) for name in _PLAIN_FACTS}
    facts["turbo"] = advert.is_turbo
    facts["title"] = None if advert.title == "unknown" else advert.title
    facts["place"] = advert.place or None
    facts["asking_minor"] = None if advert.asking is None else advert.asking.minor
    value = advert.clean_value
    facts["clean_value_minor"] = (
        None if value is None else [value.low.minor, value.likely.minor, value.high.minor]
    )
    facts["extras"] = list(advert.extras) or None
    facts["traps"] = list(advert.traps) or None
    facts["seen_on"] = None if advert.seen_on is None else advert.seen_on.isoformat()
    seller = {
        name: value
        for name in ("name", "is_owner", "has_title_in_hand", "is_trade")
        if (value := getattr(advert.seller, name)) not in (None, "")
    }
    facts["seller"] = seller or None
    return {name: value for name, value in facts.items() if value is not None}


def change_advert(tx: Tx, car_id: int, advert: Advert, *, at: datetime, version: int | None = None) -> Car:
    """Replace the facts of a car's advert by corrected ones; the words and findings stay.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    advert
        All facts, as they should be.
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
    Conflict
        If it was changed meanwhile.
    """
    held_to_today(advert, at.date())
    car = get_car(tx, car_id)
    wanted: dict[str, Any] = facts_of(advert)
    wanted |= {"name": advert.name, "made_year": advert.made_year, "mileage_km": advert.mileage_km}
    now = dict(car.facts) | {"name": car.name, "made_year": car.made_year, "mileage_km": car.mileage_km}
    mine = {*facts_of(_EVERYTHING), "name", "made_year", "mileage_km"}
    changes = {name: wanted.get(name) for name in mine if wanted.get(name) != now.get(name)}
    if not changes:
        return car
    return change_facts(tx, car_id, changes, at=at, version=version)


def words_of(tx: Tx, car_id: int) -> Snapshot | None:
    """The advert's words as last pasted, with what was read in them."""
    return records.newest(tx, car_id)


def correct_item(
    tx: Tx, car_id: int, index: int, *, version: int, at: datetime, choose: int | None = None
) -> Snapshot:
    """Take out one thing that was read, or take another of its readings instead.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    index
        Number of the item.
    version
        Version of the words that the person was looking at.
    at
        Present moment.
    choose
        Number of the other reading to take; None takes the item out.

    Returns
    -------
    Snapshot
        The words with the corrected items.

    Raises
    ------
    BadEntry
        If there is no such item or reading.
    Conflict
        If it was corrected meanwhile.
    """
    snapshot = records.newest(tx, car_id)
    if snapshot is None or not 0 <= index < len(snapshot.items):
        raise BadEntry("There is no such item to correct.", field="item", value=index)
    items = [dict(item) for item in snapshot.items]
    item = items[index]
    if choose is None:
        item["taken_out"] = True
        _undo(tx, car_id, item, at)
    else:
        others = item["alternatives"]
        if not 0 <= choose < len(others):
            raise BadEntry("There is no such other reading.", field="choose", value=choose)
        other = others.pop(choose)
        others.append({"value": item["value"], "words": item["words"]})
        item |= {"value": other["value"], "words": other["words"], "confidence": "sure"}
        _take(tx, car_id, item, at)
    return records.correct(tx, snapshot, items, version)


def weighing_of(tx: Tx, car_id: int, *, with_swings: bool = True) -> Weighing:
    """Buy or walk, and why, for a car by all that is recorded about it.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    with_swings
        Whether to work out what moves the walk-away price.

    Returns
    -------
    Weighing
        With the walk-away price of the outlook strip.

    Raises
    ------
    CannotSay
        If no value of the mended car is known, or the findings contradict each other.
    """
    present = case_of(tx, car_id)
    return weighing_of_case(
        advert_of(tx, car_id),
        present.case,
        present.posterior.network,
        facts=fault_facts(tx),
        evidence=present.posterior.evidence,
        with_swings=with_swings,
    )


def order_of_viewings(tx: Tx, *, minutes: float) -> Visits:
    """Which of the adverts to go and see first, and which fit into the day.

    Parameters
    ----------
    tx
        Open transaction.
    minutes
        Time there is for driving and looking. [min]

    Returns
    -------
    Visits
        All cars in stage ``advert`` or ``viewing``; those without an outlook are listed with what
        is missing.

    Raises
    ------
    BadEntry
        If the minutes are under 0 or more than a day has.
    """
    weighed: list[tuple[int, str, Weighing]] = []
    missing: list[LeftOut] = []
    for car in list_cars(tx):
        if car.stage not in ("advert", "viewing"):
            continue
        try:
            weighed.append((car.id, car.name, _weighed_once(tx, car)))
        except CannotSay as error:
            missing.append(LeftOut(car.id, car.name, error.message))
    return order_visits(weighed, minutes, missing)


def _weighed_once(tx: Tx, car: Car) -> Weighing:
    """Weigh an advert, or take what was found when its outlook was last renewed."""
    point = newest_point(tx, car.id)
    state = (car.version, point.id if point else 0, rules_of(tx, car.currency).version)
    with _lock:
        kept = _weighings.setdefault(tx.engine, {}).get(car.id)
    if kept is not None and kept[0] == state:
        return kept[1]
    weighing = weighing_of(tx, car.id, with_swings=False)
    with _lock:
        _weighings[tx.engine][car.id] = (state, weighing)
    return weighing


def take_wage(tx: Tx, wage: Money, *, version: int, at: datetime) -> Rules:
    """Make what an own hour brings the wage of the person's rules.

    Parameters
    ----------
    tx
        Open transaction.
    wage
        What an own hour must bring.
    version
        Version of the rules that the person was looking at.
    at
        Present moment.

    Returns
    -------
    Rules
        The rules as they are now.

    Raises
    ------
    Conflict
        If they were changed meanwhile.
    """
    rules = replace(rules_of(tx, wage.currency).rules, wage_per_hour=float(wage.minor))
    return change_rules(tx, rules, version=version, at=at).rules


def buy(tx: Tx, car_id: int, price: Money, *, at: datetime, day: date | None = None, token: str = "") -> Car:
    """Buy the car: freeze the estimate it is bought on, book the price, move it on to ``bought``.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    price
        Price paid.
    at
        Present moment.
    day
        Day of the purchase; today when left out.
    token
        Mark of the form, so that a second tap books nothing twice.

    Returns
    -------
    Car
        The car, now bought.

    Raises
    ------
    BadEntry
        If it is no longer an advert, or the price is in another currency.
    """
    car = get_car(tx, car_id)
    if car.stage not in ("advert", "viewing"):
        raise BadEntry(
            f"{car.name} is {car.stage!r}; only a car that is not yet yours is bought.", field="car"
        )
    try:
        present, learned = case_of(tx, car_id), plan_of(tx)
        value = car.facts["clean_value_minor"][1]
        freeze(
            tx,
            car_id,
            with_learned(lines_of(tx, car_id, price.minor), learned.hours, learned.money),
            at,
            sale_price=Money(int(value), car.currency),
            wage=Money(round(present.case.rules.wage_per_hour), car.currency),
        )
    except (CannotSay, KeyError):
        # Bought without an outlook: there is no estimate to freeze, and the look back will say so.
        note_event(
            tx, car_id, "estimate", "Bought without an estimate: no value of the clean car was known", {}, at
        )
    book_purchase(tx, car_id, price, day or at.date(), at=at, token=token)
    return get_car(tx, car_id)


def let_go(tx: Tx, car_id: int, reason: str, *, at: datetime) -> Car:
    """Let an advert go, with the reason kept.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    reason
        Why, in the person's words.
    at
        Present moment.

    Returns
    -------
    Car
        The car, now let go.

    Raises
    ------
    BadEntry
        If the car is already bought, or no reason is given.
    """
    if not reason.strip():
        raise BadEntry(
            "Say why in a word or two: it helps when the advert comes up again.", field="reason", value=""
        )
    note_event(tx, car_id, "let go", f"Let go: {reason.strip()[:400]}", {"reason": reason.strip()}, at)
    return change_stage(tx, car_id, "let go", at)


def take_up_again(tx: Tx, car_id: int, *, at: datetime) -> Car:
    """Look at an advert again that was let go."""
    return change_stage(tx, car_id, "advert", at)


def _name_for(advert: Advert) -> str:
    return f"Advert from {advert.made_year}" if advert.made_year else "Advert without a name"


_EVERYTHING = Advert(
    asking=Money(0, "USD"),
    title="clean",
    runs="runner",
    gearbox="manual",
    drive="fwd",
    is_turbo=False,
    clean_value=MoneyRange(*(Money(0, "USD") for _ in range(3))),
    traps=("x",),
    extras=("x",),
    seller=Seller("x"),
    place="x",
    distance_km=0.0,
    seen_on=date(2000, 1, 1),
    text="x",
)
# What was read -> name among the car's facts.
_FACT_NAMES: Mapping[str, str] = {
    "asking": "asking_minor",
    "made_year": "made_year",
    "mileage_km": "mileage_km",
    "title": "title",
    "runs": "runs",
    "gearbox": "gearbox",
    "drive": "drive",
    "is_turbo": "turbo",
    "place": "place",
}


def _undo(tx: Tx, car_id: int, item: Mapping[str, Any], at: datetime) -> None:
    """Take the fact, finding, trap or extra behind an item back."""
    what, value = item["what"], item["value"]
    car = get_car(tx, car_id)
    if what == "symptom":
        for found in findings_of(tx, car_id):
            if found.finding == value and found.origin == "advert":
                take_back_finding(tx, car_id, found.id, at=at)
        return
    if what in ("trap", "extra"):
        name = what + "s"
        left = [entry for entry in car.facts.get(name, []) if entry != value]
        change_facts(tx, car_id, {name: left or None}, at=at)
        return
    if what.startswith("seller."):
        seller = {k: v for k, v in car.facts.get("seller", {}).items() if k != what.removeprefix("seller.")}
        change_facts(tx, car_id, {"seller": seller or None}, at=at)
        return
    if what in _FACT_NAMES:
        change_facts(tx, car_id, {_FACT_NAMES[what]: None}, at=at)
        return
    note_event(tx, car_id, "advert", f'Not so: "{item["words"]}"', {"what": what}, at)


def _take(tx: Tx, car_id: int, item: Mapping[str, Any], at: datetime) -> None:
    """Set the fact of an item to its new reading."""
    car = get_car(tx, car_id)
    name = _FACT_NAMES.get(str(item["what"]))
    if name is None:
        raise BadEntry("Only facts have other readings.", field="item", value=str(item["what"]))
    value = item_from_data(item, car.currency)
    if isinstance(value, Money) and value.currency != car.currency:
        raise BadEntry(
            f"{value_text(value)} is in another currency than the car, {car.currency}. Type the price below.",
            field="asking",
            allowed=car.currency,
        )
    change_facts(tx, car_id, {name: value.minor if isinstance(value, Money) else value}, at=at)


def pack_names(tx: Tx) -> dict[str, str]:
    """Names of the pack's findings, for the page."""
    return {
        sign.id: re.sub(r"^Advert(?: says)?: ", "", sign.name or sign.id)
        for sign in knowledge_of(tx).signs.values()
    }


@dataclass(frozen=True)
class LessonShown:
    """What one's own finished jobs do to the first estimate of a car.

    Parameters
    ----------
    factor
        Typical actual over estimated hours over all own jobs.
    jobs
        Finished jobs behind it.
    hours_before, hours_after
        Own hours expected without and with the lessons. [h]
    """

    factor: float
    jobs: int
    hours_before: float
    hours_after: float


def lesson_shown(tx: Tx, car_id: int) -> LessonShown | None:
    """The estimate of a car without and with the lessons of finished ones; None when there are none."""
    return kept_outlook(tx, "lesson shown", car_id, lambda: _lesson_shown(tx, car_id))


def _lesson_shown(tx: Tx, car_id: int) -> LessonShown | None:
    bias = plan_of(tx).hours
    if bias is None or not bias.jobs:
        return None
    try:
        present = case_of(tx, car_id)
    except CannotSay:
        return None
    plain, taught = (
        Forecast(
            car_case(
                present.posterior,
                present.catalogue,
                present.case.rules,
                (present.case.value[0], present.case.value[0], present.case.value[1]),
                facts=fault_facts(tx),
                plan=plan,
            )
        ).hours_mean
        for plan in (None, plan_of(tx))
    )
    return LessonShown(math.exp(bias.forecast("").log_mean), bias.jobs, plain, taught)
