"""Tells invented lives to an empty record, through the same actions that a person's days go through."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import partial
from itertools import groupby
from pathlib import Path

import numpy as np

from driveout.cars.actions import change_stage, get_car, list_cars, note_event
from driveout.errors import BadEntry, CannotSay, StoreTrouble
from driveout.faults.actions import record_finding
from driveout.hunt.actions import add_advert, buy, let_go
from driveout.lessons.actions import close_car, freeze
from driveout.market.actions import add_comparables, appraise_car
from driveout.money import Entry, Journal, car_part
from driveout.money import actions as money
from driveout.money import bookings as book
from driveout.outlook.actions import refresh
from driveout.parts import Offer
from driveout.parts.actions import add_offer, order_part, parts_of, receive_part
from driveout.repairs.actions import choose_repair, finish_repair
from driveout.selling.actions import (
    add_photo,
    make_plan,
    put_ask,
    record_enquiry,
    record_offer,
    reply_to_offer,
    sell_car,
)
from driveout.simulate.names import SHOPS, SUPPLIES
from driveout.simulate.years import (
    CURRENCY,
    Life,
    Mending,
    OfferMade,
    Receipt,
    Session,
    Trip,
    moment,
    picture,
    sample_years,
    usd,
)
from driveout.store import Store, Tx
from driveout.units import Money
from driveout.wear.actions import record_readings
from driveout.wear.topics import CORNERS
from driveout.workshop.actions import every_work, record_task

OWN_MONEY = 12_000
#: what fills a large journal: short sessions, small receipts and drives; shares of its entries
SESSIONS, RECEIPTS = 0.62, 0.26
#: in a large record a car has so many findings, and one sold car in so many proves its faults
FEW_CHECKS, PROVES_EVERY = 3, 6
SMALL_THINGS = (
    "Clips and screws", "Hose clamp", "Bulbs", "Wiper blades", "Bolt set", "Gasket paper", "Coolant", "Brake fluid",
    "Sandpaper", "Masking tape", "Split pins", "Grease", "Fuses", "Cable ties", "Drain washer",
)  # fmt: skip


@dataclass(frozen=True)
class Loaded:
    """What was put into a record.

    Parameters
    ----------
    cars
        How many cars.
    entries
        How many journal entries.
    stages
        Number of cars by stage.
    seed
        What it was drawn with.
    """

    cars: int
    entries: int
    stages: dict[str, int]
    seed: int


def load_years(
    store: Store, *, cars: int = 12, years: float = 2.0, seed: int = 7, entries: int | None = None
) -> Loaded:
    """Fill an empty record with an invented yard.

    Parameters
    ----------
    store
        An empty record, at the present schema.
    cars
        How many cars.
    years
        Span from the first advert to today.
    seed
        The same seed on the same day gives the same yard.
    entries
        Journal entries to reach in all, for trying a large record: the lives are then told in
        fewer steps and everyday entries fill the journal. None tells each life day by day.

    Returns
    -------
    Loaded
        What is there now.

    Raises
    ------
    StoreTrouble
        If the record holds cars already; nothing is written then.
    BadEntry
        If a number is out of range.
    """
    if entries is not None and not 0 <= entries <= 1_000_000:
        raise BadEntry(
            f"{entries} entries cannot be made.", field="entries", value=entries, allowed="0 to 1,000,000"
        )
    with store.reading() as tx:
        if list_cars(tx):
            raise StoreTrouble("The record holds cars already. Sample years go into an empty one.")
    today = store.now().date()
    lives = sample_years(cars, years, today, seed)
    first = lives[0].seen_on
    with _telling(store, first) as tx:
        money.book_own_money(tx, usd(OWN_MONEY * max(cars / 12, 1)), first, at=_at(first, 9))
    if entries is None:
        _told_by_day(store, lives, first)
    else:
        _told_in_bulk(store, lives, first, today, entries, seed)
    return _loaded(store, seed)


def _loaded(store: Store, seed: int) -> Loaded:
    with store.reading() as tx:
        found = list_cars(tx)
        entries = len(money.every_entry(tx))
    return Loaded(len(found), entries, dict(Counter(car.stage for car in found)), seed)


def _at(day: date, hour: float = 18.0) -> datetime:
    return moment(day, hour).replace(tzinfo=UTC)


#: facts that move an outlook little by little; in the past it is then renewed once a week only
SMALL_FACTS = ("Own work:", "Receipt:", "Trip:", "Used ", "Enquiry", "Here:", "Core back:")


@contextmanager
def _telling(
    store: Store, day: date, *, renew: bool = True, renewed_on: dict[int, date] | None = None
) -> Iterator[Tx]:
    """A transaction of a past day: outlooks are renewed as of that day, not as of today."""
    hooks = store.before_commit
    before = {} if renewed_on is None else renewed_on

    def renewed(tx: Tx, touched: dict[int, list[str]]) -> None:
        for car_id, reasons in touched.items():
            is_small = all(reason.startswith(SMALL_FACTS) for reason in reasons)
            if is_small and car_id in before and day - before[car_id] < timedelta(days=7):
                continue
            refresh(tx, car_id, "; ".join(reasons), at=_at(day, 21))
            before[car_id] = day

    store.before_commit = [renewed] if renew else []
    try:
        with store.writing() as tx:
            yield tx
    finally:
        store.before_commit = hooks


#: something done to a car in a transaction, by its number; what it gives back is not looked at
Deed = Callable[[Tx, int], object]
Plan = list[tuple[date, Deed]]


def _told_by_day(store: Store, lives: tuple[Life, ...], first: date) -> None:
    """Every deed of every life in the order of the days, one transaction a day and car."""
    today = store.now()
    shelf = _bought_supplies(store, first)
    deeds = [
        (day, number, deed)
        for number, life in enumerate(lives)
        for day, deed in _deeds(life, number, store.home, today.date(), shelf)
    ]
    deeds.sort(key=lambda one: one[:2])
    ids: dict[int, int] = {}
    renewed_on: dict[int, date] = {}
    for (day, number), group in groupby(deeds, key=lambda one: one[:2]):
        with _telling(store, day, renewed_on=renewed_on) as tx:
            if number not in ids:
                advert = lives[number].advert
                ids[number] = add_advert(tx, advert, at=_at(day, 8), original=advert.text).id
            for _, _, deed in group:
                deed(tx, ids[number])
    with _telling(store, today.date(), renew=False) as tx:
        for number, life in enumerate(lives):
            if life.sold_on is None:
                refresh(tx, ids[number], "Everything told so far", at=today)


def _bought_supplies(store: Store, day: date) -> list[tuple[int, Decimal]]:
    """Shared supplies on the shelf and a tool in the garage; entry and quantity of each supply."""
    shelf = []
    with _telling(store, day) as tx:
        for what, unit, quantity, minor in SUPPLIES:
            amount = Money(minor, CURRENCY)
            lot = money.buy_supplies(tx, amount, what, Decimal(quantity), unit, day, at=_at(day, 10))
            shelf.append((lot.number, Decimal(quantity)))
        money.buy_tool(tx, usd(189), "Torque wrench 40 to 210 N m", day, at=_at(day, 10), uses=300)
    return shelf


def _deeds(life: Life, number: int, home: Path, today: date, shelf: list[tuple[int, Decimal]]) -> Plan:
    """Everything that happens to one car, in order, from its advert on."""
    after = life.seen_on + timedelta(days=1)
    plan: Plan = [(life.seen_on, _nothing)]
    if life.checks:
        plan.append((after, partial(_checked, life=life, at=_at(after, 11))))
    if life.why_let_go:
        gone = after + timedelta(days=1)
        plan.append((gone, partial(let_go, reason=life.why_let_go, at=_at(gone))))
    if life.bought_on is None or life.price is None:
        return plan
    plan.append((life.bought_on, partial(buy, price=life.price, at=_at(life.bought_on, 15))))
    plan += [(trip.day, partial(_trip, trip=trip)) for trip in life.trips]
    plan += [(receipt.day, partial(_receipt, receipt=receipt)) for receipt in life.receipts]
    plan += [(session.day, partial(_session, session=session)) for session in life.sessions]
    for place, one in enumerate(life.mendings):
        plan += _mending(one, today, shelf[place] if place < len(shelf) else None)
    if life.mendings:
        day = life.mendings[0].chosen_on
        plan.append(
            (day, partial(_photo, home=home, data=picture(number), subject="before the work", day=day))
        )
        plan.append((day, partial(_tread, tread_mm=life.tread_mm, day=day)))
    if life.ready_on is not None:
        plan += _sale(life, number, home, life.ready_on)
    return plan


def _mending(one: Mending, today: date, lot: tuple[int, Decimal] | None) -> Plan:
    plan: Plan = [(one.chosen_on, partial(_chosen, one=one))]
    plan += [(receipt.day, partial(_came, one=one, receipt=receipt)) for receipt in one.receipts]
    plan += [(session.day, partial(_session, session=session)) for session in one.sessions]
    if one.done_on <= today:
        plan.append((one.done_on, partial(_done, one=one)))
        if lot is not None:
            plan.append((one.done_on, partial(_supplies, lot=lot, day=one.done_on)))
    elif one.sessions:
        last = one.sessions[-1].day
        plan.append((last, partial(_under_way, repair=one.repair, day=last)))
    return plan


def _sale(life: Life, number: int, home: Path, ready: date) -> Plan:
    plan: Plan = [
        (ready, partial(_valued, life=life, day=ready)),
        (ready, partial(_photo, home=home, data=picture(number), subject="work done", day=ready)),
    ]
    plan += [(day, partial(put_ask, ask=ask, at=_at(day, 12))) for day, ask in life.asks]
    plan += [(day, partial(record_enquiry, at=_at(day, 14))) for day in life.enquiries]
    plan += [(offer.day, partial(_offer, one=offer)) for offer in life.offers]
    sold, price = life.sold_on, life.sale_price
    if sold is None or price is None:
        return plan
    plan.append((sold, partial(_settle, day=sold)))
    plan.append((sold, partial(sell_car, price=price, at=_at(sold, 19), day=sold, buyer=life.buyer)))
    if life.stage == "closed":
        closed = sold + timedelta(days=1)
        plan.append((closed, partial(close_car, at=_at(closed))))
    return plan


def _nothing(tx: Tx, car_id: int) -> None:
    """The advert itself is added by the teller, who then knows the car's number."""


def _trip(tx: Tx, car_id: int, trip: Trip) -> Entry:
    return money.book_travel(tx, car_id, trip.km, "km", trip.day, at=_at(trip.day, 16), what=trip.what)


def _chosen(tx: Tx, car_id: int, one: Mending) -> None:
    at = _at(one.chosen_on, 17)
    if get_car(tx, car_id).stage == "bought":
        change_stage(tx, car_id, "in work", at)
    choose_repair(tx, car_id, one.repair, one.choice, at=at)
    _order(tx, car_id, one)


def _came(tx: Tx, car_id: int, one: Mending, receipt: Receipt) -> None:
    """A part that was ordered is taken in; any other receipt is booked as it is."""
    waiting = [p for p in parts_of(tx, car_id) if p.line.key == one.repair and p.state == "ordered"]
    if receipt.kind == "parts" and waiting:
        receive_part(
            tx, car_id, waiting[0].id, receipt.day, at=_at(receipt.day, 13), paid=receipt.amount,
            core=receipt.core, shop=receipt.shop, fits=True,
        )  # fmt: skip
    else:
        _receipt(tx, car_id, receipt)


def _supplies(tx: Tx, car_id: int, lot: tuple[int, Decimal], day: date) -> None:
    number, quantity = lot
    on_shelf = {item.lot.number: item.left for item in money.supplies_on_shelf(tx)}
    share = round(quantity / 20, 2)
    if on_shelf.get(number, Decimal(0)) > share:
        money.issue_supplies(tx, number, {car_id: share}, day, at=_at(day, 20))


def _valued(tx: Tx, car_id: int, life: Life, day: date) -> None:
    add_comparables(tx, car_id, life.comparables.encode(), "similar.csv", at=_at(day, 10))
    appraise_car(tx, car_id, at=_at(day, 10.5))
    entries = {"fallback": str(round(0.55 * float(life.asks[0][1].major))), "holding_per_day": "4"}
    make_plan(tx, car_id, entries, at=_at(day, 11))


def _photo(tx: Tx, car_id: int, home: Path, data: bytes, subject: str, day: date) -> None:
    add_photo(tx, home, car_id, data, subject=subject, at=_at(day, 12))


def _checked(tx: Tx, car_id: int, life: Life, at: datetime, most: int = 99) -> None:
    """What the viewing found; a finding that would contradict the others was not written down."""
    for finding, outcome in life.checks[:most]:
        try:
            record_finding(tx, car_id, finding=finding, outcome=outcome, at=at, origin="check")
        except (BadEntry, CannotSay):
            continue
    if life.stage != "let go":
        change_stage(tx, car_id, "viewing", at)


def _receipt(tx: Tx, car_id: int, receipt: Receipt) -> Entry:
    return money.book_receipt(
        tx, car_id, receipt.kind, receipt.amount, receipt.what, receipt.shop, receipt.day,
        at=_at(receipt.day, 16.5), core=receipt.core, line=receipt.line,
    )  # fmt: skip


def _session(tx: Tx, car_id: int, session: Session) -> Entry:
    return money.book_hours(
        tx, car_id, session.kind_of_work, Decimal(session.minutes) / 60, _at(session.day, 20.5),
        day=session.day, line=session.line, again=True,
    )  # fmt: skip


def _order(tx: Tx, car_id: int, one: Mending) -> None:
    """Order the first part that the repair put on the list; its receipt takes it in."""
    bill = next((r for r in one.receipts if r.kind == "parts"), None)
    listed = [p for p in parts_of(tx, car_id) if p.line.key == one.repair and p.state == "needed"]
    if not listed:
        return
    came = bill.day if bill is not None else one.chosen_on + timedelta(days=6)
    core = bill.core if bill is not None else None
    price = (bill.amount - core if core is not None else bill.amount) if bill is not None else usd(140)
    offer = add_offer(
        tx, car_id, listed[0].id,
        Offer(bill.shop if bill is not None else SHOPS[0], price, max((came - one.chosen_on).days, 0), core=core,
              return_days=30),
        at=_at(one.chosen_on, 17.5),
    )  # fmt: skip
    order_part(tx, car_id, listed[0].id, offer.id, one.chosen_on, at=_at(one.chosen_on, 17.5))


def _done(tx: Tx, car_id: int, one: Mending) -> None:
    try:
        finish_repair(tx, car_id, one.repair, at=_at(one.done_on, 21), was_it=one.was_it)
    except (BadEntry, CannotSay):
        finish_repair(tx, car_id, one.repair, at=_at(one.done_on, 21))


def _under_way(tx: Tx, car_id: int, repair: str, day: date, steps: int = 6) -> None:
    """The first steps of a strip plan are done: its links lie open."""
    for held in every_work(tx, car_id):
        if held.job.kind_of_work != repair:
            continue
        for task in held.plan.tasks[:steps]:
            if task.kind != "undo":
                break
            record_task(tx, car_id, held.job.id, task.id, at=_at(day, 20))


def _tread(tx: Tx, car_id: int, tread_mm: tuple[float, ...], day: date) -> None:
    spots = {
        corner: {f"tread_{place}": f"{mm} mm" for place in ("inner", "middle", "outer")}
        for corner, mm in zip(CORNERS, tread_mm, strict=True)
    }
    record_readings(tx, car_id, "corner", spots, at=_at(day, 12.5))


def _offer(tx: Tx, car_id: int, one: OfferMade) -> None:
    kept = record_offer(tx, car_id, one.amount, buyer=one.buyer, at=_at(one.day, 15))
    reply_to_offer(
        tx,
        car_id,
        kept.id,
        one.answer,
        version=kept.version,
        at=_at(one.day, 15.5),
        counter_at=one.counter_at,
    )


def _settle(tx: Tx, car_id: int, day: date) -> None:
    """Old units go back before the car goes."""
    for core in money.cores_open(tx, car_id):
        money.book_core_return(tx, car_id, core.receipt.number, day, at=_at(day, 17))


def _told_in_bulk(
    store: Store, lives: tuple[Life, ...], first: date, today: date, entries: int, seed: int
) -> None:
    """Few steps a car, and the journal filled through the import of a journal file's entries."""
    ids: dict[int, int] = {}
    for start in range(0, len(lives), 10):
        with _telling(store, first, renew=False) as tx:
            for number in range(start, min(start + 10, len(lives))):
                ids[number] = _until_work(tx, lives[number])
    owned = [number for number, life in enumerate(lives) if life.bought_on is not None]
    with store.reading() as tx:
        booked = len(money.every_entry(tx))
    sales = sum(lives[number].sold_on is not None for number in owned)
    own = {number: _own_entries(lives[number], car_part(ids[number])) for number in owned}
    left = max(entries - booked - sales - sum(len(e) for e in own.values()), 0)
    for place, number in enumerate(owned):
        share = left // len(owned) + (place < left % len(owned))
        rng = np.random.default_rng([seed, number, 3])
        own[number] += _everyday(lives[number], car_part(ids[number]), share, today, rng)
    bulk = sorted((e for some in own.values() for e in some), key=lambda e: (e.day, e.narration))
    with _telling(store, today, renew=False) as tx:
        money.import_journal(tx, Journal(CURRENCY, tuple(bulk), name="the years before"), at=_at(today, 1))
    for start in range(0, len(owned), 10):
        with _telling(store, today, renew=False) as tx:
            for number in owned[start : start + 10]:
                _from_sale(tx, ids[number], lives[number], today, number % PROVES_EVERY == 0)
    with _telling(store, today) as tx:
        for number, life in enumerate(lives):
            note_event(tx, ids[number], "note", f"Sample years: {life.stage}", {}, _at(today, 1.5))


def _until_work(tx: Tx, life: Life) -> int:
    car_id = add_advert(tx, life.advert, at=_at(life.seen_on, 8), original=life.advert.text).id
    if life.checks:
        _checked(tx, car_id, life, _at(life.seen_on + timedelta(days=1), 11), FEW_CHECKS)
    if life.why_let_go:
        let_go(tx, car_id, life.why_let_go, at=_at(life.seen_on + timedelta(days=2)))
    if life.bought_on is None or life.price is None:
        return car_id
    value = life.advert.clean_value
    at = _at(life.bought_on, 15)
    freeze(tx, car_id, life.estimate, at, sale_price=value.likely if value else None, wage=usd(15))
    money.book_purchase(tx, car_id, life.price, life.bought_on, at=at)
    for one in life.mendings:
        if get_car(tx, car_id).stage == "bought":
            change_stage(tx, car_id, "in work", _at(one.chosen_on, 17))
        choose_repair(tx, car_id, one.repair, one.choice, at=_at(one.chosen_on, 17))
    return car_id


def _own_entries(life: Life, part: str) -> list[Entry]:
    """The receipts, trips and hours of a life as entries; deposits are left out, they come back."""
    found = [book.travel(part, int(trip.km * 10), "KM", trip.day, what=trip.what) for trip in life.trips]
    receipts = [*life.receipts, *(r for one in life.mendings for r in one.receipts)]
    sessions = [*life.sessions, *(s for one in life.mendings for s in one.sessions)]
    for r in receipts:
        amount = r.amount - r.core if r.core is not None else r.amount
        found.append(book.receipt(part, r.kind, amount, r.what, r.day, shop=r.shop, line=r.line))
    found += [book.own_hours(part, s.minutes, s.kind_of_work, s.day, line=s.line) for s in sessions]
    return found


def _everyday(life: Life, part: str, count: int, today: date, rng: np.random.Generator) -> list[Entry]:
    """Short sessions, small receipts and drives between the purchase and the sale."""
    first = life.bought_on
    assert first is not None
    last = life.sold_on or today
    days = max((last - first).days, 1)
    kinds = rng.random(count)
    offsets = rng.integers(0, days + 1, count)
    found = []
    for kind, offset in zip(kinds, offsets, strict=True):
        day = first + timedelta(days=int(offset))
        if kind < SESSIONS:
            found.append(book.own_hours(part, int(rng.integers(5, 40)), "small-jobs", day))
        elif kind < SESSIONS + RECEIPTS:
            what = SMALL_THINGS[int(rng.integers(len(SMALL_THINGS)))]
            shop = SHOPS[int(rng.integers(len(SHOPS)))]
            found.append(
                book.receipt(
                    part, "supplies", Money(int(rng.integers(95, 1400)), CURRENCY), what, day, shop=shop
                )
            )
        else:
            found.append(book.travel(part, int(rng.integers(10, 400)), "KM", day, what="to the parts shop"))
    return found


def _from_sale(tx: Tx, car_id: int, life: Life, today: date, proves: bool) -> None:
    for one in life.mendings:
        if one.done_on <= today:
            _done(tx, car_id, one if proves else replace(one, was_it=""))
    for day, ask in life.asks:
        put_ask(tx, car_id, ask, at=_at(day, 12))
    for day in life.enquiries:
        record_enquiry(tx, car_id, at=_at(day, 14))
    if life.sold_on is None or life.sale_price is None:
        return
    sell_car(tx, car_id, life.sale_price, at=_at(life.sold_on, 19), day=life.sold_on, buyer=life.buyer)
    if life.stage == "closed":
        close_car(tx, car_id, _at(life.sold_on + timedelta(days=1)))
