"""What a person does to sell: plan the price, put it in the advert, log who asks, answer offers, sell."""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from driveout.cars.actions import change_stage, get_car, note_event, trail_of
from driveout.cars.car import Car
from driveout.cars.papers import disclosure_duty
from driveout.errors import BadEntry, CannotSay, Conflict, StoreTrouble
from driveout.faults.actions import findings_of, name_of, network_for
from driveout.files import yaml_document
from driveout.market.actions import latest_appraisal, sale_rate_of
from driveout.money.actions import book_sale, car_entries
from driveout.repairs.actions import catalogue_of, chosen_plan, decisions_of
from driveout.selling import records
from driveout.selling.asking import SaleSituation, Spell, asking_plan
from driveout.selling.buyers_file import BuyersFile, JudgedReading, buyers_file_pdf
from driveout.selling.listing import ListingFacts
from driveout.selling.offers import ANSWERS, answer_offer
from driveout.selling.own_file import SCHEMA, situation_as_dict, situation_from_document
from driveout.selling.photos import (
    LARGEST_PHOTO,
    MOST_PHOTOS,
    SUBJECTS,
    Photo,
    photo_kind,
    without_private_tags,
)
from driveout.selling.records import Ask, Enquiry, KeptPlan, Offer
from driveout.selling.sale_papers import Gate, SalePapers, handover_gate
from driveout.sources import cite
from driveout.store import Attachments, Tx
from driveout.units import Money
from driveout.wear.actions import car_report
from driveout.wear.paint_plan import LEAVE
from driveout.wear.verdict import FAILS, Verdict
from driveout.workshop.actions import LinkPhoto, every_work
from driveout.workshop.actions import photo_of as photo_of_link
from driveout.workshop.actions import photos_of as link_photos
from driveout.workshop.tightening import ORIGINS

LARGEST_VALUE_SD = 0.2
OUTCOMES = (*ANSWERS, "withdrawn")
HANDOVER = "handover check"
PHOTO = "photo for the buyer"


def make_plan(tx: Tx, car_id: int, entries: dict[str, Any], *, at: datetime) -> KeptPlan:
    """Make and keep an asking plan.

    What is not given comes from the record: the value from the newest appraisal, the speed of
    sales from the comparables that were followed, prices asked and enquiries from the log.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    entries
        Keys of an own file ``driveout-asking/1``; ``fallback`` is needed, ``value`` unless appraised.
    at
        Present moment.

    Returns
    -------
    KeptPlan
        The plan with what it was made from.

    Raises
    ------
    BadEntry
        If an entry cannot be used.
    CannotSay
        If there is neither an appraisal nor a typed value.
    """
    car = get_car(tx, car_id)
    given: dict[str, Any] = {"schema": SCHEMA, "currency": car.currency}
    appraisal = latest_appraisal(tx, car_id)
    if entries.get("value") is None:
        if appraisal is None:
            raise CannotSay(
                f"{car.name} has no value yet. Appraise it from comparables, or type its value.",
                missing="value",
            )
        given |= {
            "value": str(appraisal.value.major),
            "value_sd": round(min(float(appraisal.content["level_sd"]), LARGEST_VALUE_SD), 4),
        }
    rate = sale_rate_of(tx, car_id, at.date())
    given |= {"sale_shape": round(rate.shape, 4), "sale_days": round(rate.days, 3)}
    given |= {key: value for key, value in entries.items() if value is not None}
    document = yaml_document(json.dumps(given), "asking plan", SCHEMA)
    situation = _as_it_stands(tx, car_id, situation_from_document(document), at)
    plan = asking_plan(situation)
    deadline = at.date() + timedelta(days=situation.deadline_days)
    kept = records.add_plan(tx, car_id, situation_as_dict(situation), deadline, plan.as_dict(), at)
    words = (
        "sell out now" if plan.sell_out_now else f"ask {plan.ask.text()}, take {plan.take_it.text()} today"
    )
    note_event(
        tx,
        car_id,
        "asking plan",
        f"Asking plan: {words}",
        {"ask": plan.ask.minor, "take_it": plan.take_it.minor, "deadline": deadline.isoformat()},
        at,
    )
    return kept


def latest_plan(tx: Tx, car_id: int) -> KeptPlan | None:
    """The newest asking plan of a car."""
    return records.latest_plan(tx, car_id)


def current_situation(tx: Tx, car_id: int, *, at: datetime) -> SaleSituation:
    """The newest plan's entries with the days, prices and enquiries of today.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    at
        Present moment.

    Returns
    -------
    SaleSituation
        The sale as it stands.

    Raises
    ------
    CannotSay
        If no plan was made yet.
    """
    kept = records.latest_plan(tx, car_id)
    if kept is None:
        raise CannotSay(
            "There is no asking plan yet. Make one first; it sets the take-it price.", missing="plan"
        )
    document = yaml_document(json.dumps(kept.situation), "asking plan", SCHEMA)
    situation = situation_from_document(document)
    left = max((kept.deadline - at.date()).days, 1)
    return _as_it_stands(tx, car_id, replace(situation, deadline_days=left), at)


def put_ask(tx: Tx, car_id: int, ask: Money, *, at: datetime) -> Ask:
    """Put a price in the advert; the car is then for sale.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    ask
        Price in the advert from now on. A higher one than before is the person's own choice.
    at
        Present moment.

    Returns
    -------
    Ask
        The price as kept.

    Raises
    ------
    BadEntry
        If the price is not above 0, in another currency, or the car is not the person's to sell.
    """
    car = get_car(tx, car_id)
    if ask.currency != car.currency or ask.minor <= 0:
        raise BadEntry(
            f"The price {ask.text()} cannot be asked. Give it in {car.currency} and above 0.",
            field="ask",
            value=ask.text(),
            allowed=f"above 0, in {car.currency}",
        )
    change_stage(tx, car_id, "for sale", at)
    before = records.asks_of(tx, car_id)
    kept = records.add_ask(tx, car_id, ask, at)
    higher = bool(before) and ask > before[-1].ask
    note_event(
        tx,
        car_id,
        "ask",
        f"Advert asks {ask.text()}" + (" (raised by choice)" if higher else ""),
        {"ask": ask.minor},
        at,
    )
    return kept


def record_enquiry(tx: Tx, car_id: int, *, at: datetime, who: str = "", note: str = "") -> Enquiry:
    """Log that somebody asked about the car."""
    get_car(tx, car_id)
    kept = records.add_enquiry(tx, car_id, who.strip()[:200], note.strip()[:2000], at)
    note_event(
        tx, car_id, "enquiry", f"Enquiry{f' by {kept.who}' if kept.who else ''}", {"enquiry": kept.id}, at
    )
    return kept


def record_offer(tx: Tx, car_id: int, amount: Money, *, buyer: str, at: datetime) -> Offer:
    """Log an offer and the advice on it.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    amount
        What the buyer offers.
    buyer
        Who, in the person's words.
    at
        Present moment.

    Returns
    -------
    Offer
        The offer with its advice.

    Raises
    ------
    BadEntry
        If the amount is not above 0 or in another currency, or the car is sold.
    CannotSay
        If no asking plan was made yet.
    """
    car = get_car(tx, car_id)
    if car.stage not in ("bought", "in work", "for sale"):
        raise BadEntry(
            f"{car.name} is {car.stage!r}; offers are taken while it is yours.",
            field="stage",
            value=car.stage,
            allowed="bought, in work, for sale",
        )
    advice = answer_offer(current_situation(tx, car_id, at=at), amount)
    kept = records.add_offer(tx, car_id, amount, buyer.strip()[:200], advice.as_dict(), at)
    note_event(
        tx,
        car_id,
        "offer",
        f"Offer {amount.text()}{f' by {kept.buyer}' if kept.buyer else ''}; advice: {advice.reasons[0]}",
        {"offer": kept.id, "amount": amount.minor, "advice": advice.answer, "take_it": advice.take_it.minor},
        at,
    )
    return kept


def reply_to_offer(
    tx: Tx,
    car_id: int,
    number: int,
    answer: str,
    *,
    version: int,
    at: datetime,
    counter_at: Money | None = None,
) -> Offer:
    """Log what was answered to an offer.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    number
        The offer.
    answer
        ``accept``, ``counter``, ``decline`` or ``withdrawn``.
    version
        Version the person was looking at.
    at
        Present moment.
    counter_at
        Price named, when countered.

    Returns
    -------
    Offer
        The offer as it is now.

    Raises
    ------
    BadEntry
        If the answer is none of these, or a counter has no price above the offer.
    Conflict
        If it was answered meanwhile.
    """
    offer = records.find_offer(tx, car_id, number)
    if answer not in OUTCOMES:
        raise BadEntry(
            f"{answer!r} is no answer to an offer.", field="answer", value=answer, allowed=", ".join(OUTCOMES)
        )
    if offer.answer in ("accept", "decline", "withdrawn"):
        raise Conflict(
            f"This offer was closed already ({offer.answer}). Log a new offer if the buyer came back."
        )
    if answer == "counter" and (counter_at is None or counter_at <= offer.amount):
        raise BadEntry(
            "A counter needs a price above the offer.",
            field="counter_at",
            value=None if counter_at is None else counter_at.text(),
            allowed=f"above {offer.amount.text()}",
        )
    kept = records.change_offer(
        tx,
        offer,
        version,
        {
            "answer": answer,
            "counter_at": counter_at.minor if answer == "counter" and counter_at else None,
            "answered_at": at,
        },
    )
    words = {
        "accept": "accepted",
        "counter": f"countered at {counter_at.text() if counter_at else ''}",
        "decline": "declined",
        "withdrawn": "withdrawn by the buyer",
    }[answer]
    note_event(
        tx,
        car_id,
        "offer",
        f"Offer {offer.amount.text()}{f' by {offer.buyer}' if offer.buyer else ''} {words}",
        {"offer": number, "answer": answer},
        at,
    )
    return kept


def sell_car(
    tx: Tx,
    car_id: int,
    price: Money,
    *,
    at: datetime,
    fees: Money | None = None,
    day: date | None = None,
    buyer: str = "",
    token: str = "",
) -> None:
    """Sell the car: the journal takes the sale and the car's story ends.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    price
        Agreed price.
    at
        Present moment.
    fees
        Fees of the sale, None when none.
    day
        Day of the sale; today when not given.
    buyer
        Name of the buyer.
    token
        Mark of the form, so that a double tap sells once.
    """
    book_sale(tx, car_id, price, fees, day or at.date(), at=at, buyer=buyer, token=token)


def log_of(tx: Tx, car_id: int) -> tuple[tuple[Ask, ...], tuple[Enquiry, ...], tuple[Offer, ...]]:
    """Prices asked, enquiries and offers of a car."""
    return records.asks_of(tx, car_id), records.enquiries_of(tx, car_id), records.offers_of(tx, car_id)


def listing_facts(tx: Tx, car_id: int, today: date) -> ListingFacts:
    """What the record holds for one's own advert: finished work, readings, faults that remain.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    today
        Present day.

    Returns
    -------
    ListingFacts
        Nothing but what is recorded.
    """
    car = get_car(tx, car_id)
    asks = records.asks_of(tx, car_id)
    plan = chosen_plan(tx, car_id)
    finished = [row for row, _, _ in plan.repairs if row.state == "done"]
    last = max((row.at for row in finished), default=None)
    network = network_for(tx, car)
    found = [row for row in findings_of(tx, car_id) if row.outcome not in ("no", "unknown", "refused")]
    words = {row.id: f"{name_of(network, row.finding)} ({row.at.date().isoformat()})" for row in found}
    verdicts = car_report(tx, car_id, today).verdicts
    options = car.facts.get("options", car.facts.get("extras", ()))
    title = str(car.facts.get("title", ""))
    return ListingFacts(
        name=car.name,
        made_year=car.made_year,
        mileage_km=car.mileage_km,
        title="" if title in ("unknown", "none") else title,
        place="",
        ask=asks[-1].ask if asks else None,
        options=tuple(map(str, options)) if isinstance(options, list | tuple) else (str(options),),
        done=tuple(
            f"{repair.name}, {part.kind if part.kind != 'outside' else 'by a workshop'}, {row.at.date().isoformat()}"
            for row, repair, part in plan.repairs
            if row.state == "done"
        ),
        measured=tuple(f"{v.what}: {v.shown}" for _, _, v in verdicts if v.reading is not None),
        remains=(
            *(f"{repair.name} not done" for row, repair, _ in plan.repairs if row.state == "chosen"),
            *_left(tx, car),
            *(f"{spot}: flaw in the paint left as it is" for spot in _paint_left(verdicts)),
            *(f"{v.what}: {v.shown}" for _, _, v in verdicts if v.outcome == FAILS),
            *(words[row.id] for row in found if last is None or row.at > last),
        ),
        to_settle=tuple(words[row.id] for row in found if last is not None and row.at <= last),
    )


def _left(tx: Tx, car: Car) -> tuple[str, ...]:
    """Repairs taken out of the plan with a reason: the car goes without them, and the buyer is told."""
    known = catalogue_of(car).repairs
    return tuple(
        f"{known[row.repair].name}: not done, left as it is"
        for row in decisions_of(tx, car.id)
        if row.state == "dropped" and row.note.strip() and row.repair in known
    )


def _paint_left(verdicts: Sequence[tuple[str, str, Verdict]]) -> tuple[str, ...]:
    return tuple(
        spot
        for topic, spot, verdict in verdicts
        if topic == "paint" and verdict.words.startswith(f"Best for the {spot}: {LEAVE}")
    )


def buyers_file(tx: Tx, car_id: int, today: date) -> BuyersFile:
    """What the record holds for the buyer's file; receipts without shop and price."""
    car = get_car(tx, car_id)
    duty = "" if car.made_year is None else disclosure_duty(car.made_year, today.year).why
    entries = car_entries(tx, car_id)
    reversals = {link for entry in entries for link in entry.links if link.startswith("reverses-")}
    receipts = tuple(
        f"{entry.day.isoformat()}: {entry.narration}{' (photographed)' if entry.fact('photo') else ''}"
        for entry in entries
        if entry.fact("kind") in ("parts", "outside")
        and f"reverses-{entry.number}" not in reversals
        and not any(link.startswith("reverses-") for link in entry.links)
    )
    # Papers and what pays are the seller's own business; they measure nothing on the car.
    readings = tuple(
        _judged(verdict)
        for topic, _, verdict in car_report(tx, car_id, today).verdicts
        if verdict.reading is not None and topic not in ("papers", "tyre_sets", "passes")
    )
    return BuyersFile(
        listing_facts(tx, car_id, today),
        car.vin,
        receipts,
        duty,
        today,
        readings,
        _tightened(tx, car_id),
        photos_of(tx, car_id),
    )


def sale_papers(tx: Tx, car_id: int, today: date) -> SalePapers:
    """What the printed papers of the sale are filled with; buyer and price of the newest accepted offer."""
    file = buyers_file(tx, car_id, today)
    accepted = [offer for offer in records.offers_of(tx, car_id) if offer.answer == "accept"]
    buyer, price = (accepted[-1].buyer, accepted[-1].amount.text()) if accepted else ("", "")
    return SalePapers(file.facts, file.vin, buyer, price, file.odometer, today)


def check_handover(tx: Tx, car_id: int, payment: str, said: Collection[str], *, at: datetime) -> Gate:
    """Ask whether keys and papers may go, and keep the answer in the trail.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    payment
        How the buyer pays.
    said
        What the person ticked.
    at
        Present moment.

    Returns
    -------
    Gate
        What is missing.
    """
    gate = handover_gate(payment, said)
    words = "nothing is missing" if gate.is_open else f"missing: {'; '.join(gate.missing)}"
    facts = {"payment": payment, "said": sorted(said), "missing": list(gate.missing)}
    note_event(tx, car_id, HANDOVER, f"Before handing over: {words}"[:400], facts, at)
    return gate


def last_handover_check(tx: Tx, car_id: int) -> Gate | None:
    """Answer of the newest check before handing over; None when there was none."""
    event = next((one for one in trail_of(tx, car_id) if one.kind == HANDOVER), None)
    return None if event is None else handover_gate(event.data["payment"], event.data["said"])


def _judged(verdict: Verdict) -> JudgedReading:
    limit = verdict.decided_by
    if limit is None:
        return JudgedReading(verdict.what, verdict.shown, verdict.outcome, "no limit that may decide")
    source = limit.source if limit.how_known == "entered" else cite(limit.source).title
    return JudgedReading(verdict.what, verdict.shown, verdict.outcome, f"{limit.short()}. {source}")


def _tightened(tx: Tx, car_id: int) -> tuple[str, ...]:
    """Values applied to links that are home again, with the origin of the specification."""
    said = []
    for work in every_work(tx, car_id):
        for link, torque in work.torques.items():
            if torque.applied and torque.applied_at is not None:
                origin = ORIGINS.get(str(torque.entry.get("origin", "")), "origin not recorded")
                where = ", page ".join(
                    str(torque.entry[key]) for key in ("document", "page") if torque.entry.get(key)
                )
                said.append(
                    f"{work.plan.assembly.name_of(link)}: {torque.applied} on {torque.applied_at.date()}; "
                    f"specification {torque.entry['value']}, {origin}{f' ({where})' if where else ''}"
                )
    return tuple(said)


def add_photo(
    tx: Tx, home: Path, car_id: int, data: bytes, *, subject: str, caption: str = "", at: datetime
) -> Photo:
    """Keep a photo for the buyer; what was taken is kept whole, what leaves is without private tags.

    Parameters
    ----------
    tx
        Open transaction.
    home
        Folder of the record.
    car_id
        The car.
    data
        JPEG or PNG.
    subject
        One of `SUBJECTS`.
    caption
        What it shows.
    at
        Present moment.

    Returns
    -------
    Photo
        As kept; the same photo again changes its words.

    Raises
    ------
    BadEntry
        If it is no photo, too large, one too many, or the subject is none of these.
    """
    get_car(tx, car_id)
    if subject not in SUBJECTS:
        raise BadEntry(
            f"{subject!r} is no subject.", field="subject", value=subject, allowed=", ".join(SUBJECTS)
        )
    if len(data) > LARGEST_PHOTO:
        raise BadEntry(
            f"The photo has {len(data):,} bytes.", field="photo", allowed=f"up to {LARGEST_PHOTO:,} bytes"
        )
    without_private_tags(data)  # refuses what could not leave later
    digest = hashlib.sha256(data).hexdigest()
    others = [photo for photo in photos_of(tx, car_id) if photo.digest != digest]
    if len(others) >= MOST_PHOTOS:
        raise BadEntry(
            f"There are {MOST_PHOTOS} photos already. Take one out first.",
            field="photo",
            allowed=f"{MOST_PHOTOS} photos",
        )
    Attachments(home / "attachments").put(data)
    photo = Photo(digest, subject, caption.strip()[:200], at)
    words = f"Photo for the buyer, {subject}{f': {photo.caption}' if photo.caption else ''}"
    facts = {"photo": digest, "subject": subject, "caption": photo.caption}
    note_event(tx, car_id, PHOTO, words, facts, at)
    return photo


def work_photos(tx: Tx, car_id: int) -> tuple[tuple[int, LinkPhoto], ...]:
    """Photos taken at work that the buyer does not have yet, each with the number of its job."""
    given = {photo.digest for photo in photos_of(tx, car_id)}
    found = {
        photo.digest: (work.job.id, photo)
        for work in every_work(tx, car_id)
        for photo in link_photos(tx, car_id, work.job.id)
        if photo.digest not in given
    }
    return tuple(found.values())


def give_work_photo(tx: Tx, home: Path, car_id: int, job_id: int, digest: str, *, at: datetime) -> Photo:
    """Take a photo made at work over to what the buyer gets; like any other it leaves without private tags."""
    data, _ = photo_of_link(tx, car_id, job_id, digest, home=home)
    title = next(p.title for p in link_photos(tx, car_id, job_id) if p.digest == digest)
    return add_photo(tx, home, car_id, data, subject="work done", caption=title, at=at)


def drop_photo(tx: Tx, car_id: int, digest: str, *, at: datetime) -> None:
    """Take a photo out of what the buyer gets; the file and the trail keep it."""
    photo = _photo(tx, car_id, digest)
    note_event(
        tx, car_id, PHOTO, f"Photo taken out, {photo.subject}", {"photo": digest, "taken_out": True}, at
    )


def photos_of(tx: Tx, car_id: int) -> tuple[Photo, ...]:
    """Photos for the buyer in the order of `SUBJECTS`, as the trail left them."""
    kept: dict[str, Photo] = {}
    for event in sorted(trail_of(tx, car_id), key=lambda one: one.seq):
        if event.kind != PHOTO:
            continue
        if event.data.get("taken_out"):
            kept.pop(event.data["photo"], None)
        else:
            kept[event.data["photo"]] = Photo(
                event.data["photo"], event.data["subject"], event.data["caption"], event.at
            )
    return tuple(sorted(kept.values(), key=lambda photo: SUBJECTS.index(photo.subject)))


def leaving_photo(tx: Tx, home: Path, car_id: int, digest: str) -> tuple[bytes, str]:
    """A photo as it may leave the house, and its kind (``jpeg`` or ``png``)."""
    _photo(tx, car_id, digest)
    data = without_private_tags(Attachments(home / "attachments").get(digest))
    return data, photo_kind(data)


def printed_buyers_file(tx: Tx, home: Path, car_id: int, today: date) -> bytes:
    """The buyer's file as PDF, with the photos as they may leave the house."""
    file = buyers_file(tx, car_id, today)
    with tempfile.TemporaryDirectory(prefix="driveout-") as folder:
        pictures = {}
        for number, photo in enumerate(file.photos):
            try:
                data, kind = leaving_photo(tx, home, car_id, photo.digest)
            except StoreTrouble:
                continue  # a lost picture is said in the file; the rest is still owed to the buyer
            pictures[photo.digest] = f"{number}.{kind}"
            (Path(folder) / pictures[photo.digest]).write_bytes(data)
        return buyers_file_pdf(file, pictures, folder)


def _photo(tx: Tx, car_id: int, digest: str) -> Photo:
    found = next((photo for photo in photos_of(tx, car_id) if photo.digest == digest), None)
    if found is None:
        raise BadEntry("This car has no such photo for the buyer.", field="photo", value=digest[:12])
    return found


def _as_it_stands(tx: Tx, car_id: int, situation: SaleSituation, at: datetime) -> SaleSituation:
    """Fill in the price asked now, how old the advert is, and the spells from the log."""
    asks = records.asks_of(tx, car_id)
    if not asks:
        return replace(situation, weekday=at.weekday())
    moments = [record.at for record in records.enquiries_of(tx, car_id)]
    # An open offer may still become the sale; a lost one is an enquiry that did not buy.
    moments += [o.at for o in records.offers_of(tx, car_id) if o.answer in ("decline", "withdrawn")]
    spells = []
    for ask, until in zip(asks, [*(a.at for a in asks[1:]), at], strict=True):
        days = max((until - ask.at).total_seconds() / 86400, 0.0)
        count = sum(ask.at <= moment < until or moment == until == at for moment in moments)
        if days > 0 or count:
            spells.append(Spell(ask.ask, round(days, 4), count))
    return replace(
        situation,
        asked_now=asks[-1].ask,
        advert_age_days=max((at - asks[0].at).total_seconds() / 86400, 0.0),
        weekday=at.weekday(),
        spells=tuple(spells),
    )
