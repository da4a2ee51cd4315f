"""What the buyer reads: the advert's facts, the buyer's file, the papers of the sale."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from driveout.cars.actions import get_car
from driveout.cars.car import Car
from driveout.cars.papers import disclosure_duty
from driveout.errors import StoreTrouble
from driveout.faults.actions import findings_of, name_of, network_for
from driveout.money.actions import car_entries, sale_of
from driveout.repairs.actions import catalogue_of, chosen_plan, decisions_of
from driveout.selling import records
from driveout.selling.actions.closing import paid_by_last
from driveout.selling.actions.photos import leaving_photo, photos_of
from driveout.selling.buyers_file import BuyersFile, JudgedReading, buyers_file_pdf
from driveout.selling.listing import ListingFacts
from driveout.selling.sale_papers import SalePapers
from driveout.sources import cite
from driveout.store import Tx
from driveout.wear.actions import car_report
from driveout.wear.paint_plan import LEAVE
from driveout.wear.verdict import FAILS, Verdict
from driveout.workshop.actions import every_work
from driveout.workshop.tightening import ORIGINS


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
    words = {
        row.id: f"{name_of(network, row.finding).removeprefix('Advert: ')} ({row.at.date().isoformat()})"
        for row in found
    }
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
            *_apart(tx, car_id),
            *(f"{repair.name} not done" for row, repair, _ in plan.repairs if row.state == "chosen"),
            *_left(tx, car),
            *(f"{spot}: flaw in the paint left as it is" for spot in _paint_left(verdicts)),
            *(f"{v.what}: {v.shown}" for _, _, v in verdicts if v.outcome == FAILS),
            *(words[row.id] for row in found if last is None or row.at > last),
        ),
        to_settle=tuple(words[row.id] for row in found if last is not None and row.at <= last),
    )


def _apart(tx: Tx, car_id: int) -> tuple[str, ...]:
    """Areas with links that are undone and not back: such a car is not fit to drive."""
    open_links = {
        held.plan.assembly.name: len(held.work.progress.undone - held.work.progress.back)
        for held in every_work(tx, car_id)
    }
    return tuple(
        f"Not fit to drive: {area}: {count} of the links undone {'is' if count == 1 else 'are'} not back"
        for area, count in open_links.items()
        if count
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


def sale_papers(tx: Tx, car_id: int, today: date) -> SalePapers:
    """What the printed papers of the sale are filled with.

    The booked sale comes first, then deposits that are held, then the newest accepted offer.
    """
    file = buyers_file(tx, car_id, today)
    booked = sale_of(tx, car_id)
    accepted = next((offer for offer in records.offers_of(tx, car_id) if offer.answer == "accept"), None)
    agreed = accepted.agreed if accepted else None
    deposit = sum(one.amount.minor for one in booked.deposits)
    if booked.price is None and agreed is not None and agreed.minor < deposit:
        agreed = None  # a price below the deposit is not the one it was given for
    return SalePapers(
        file.facts,
        file.vin,
        booked.buyer or (accepted.buyer if accepted else ""),
        booked.price or agreed,
        file.odometer,
        today,
        booked.deposits,
        booked.day,
        paid_by_last(tx, car_id),
        booked.taken_in,
    )
