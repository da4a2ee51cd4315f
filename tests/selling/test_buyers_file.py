"""What the buyer takes home: everything about the car, nothing about the people and the money."""

from __future__ import annotations

import os
import zlib
from dataclasses import asdict
from decimal import Decimal
from pathlib import Path

import pytest

from driveout.cars.actions import add_car, trail_of
from driveout.errors import BadEntry
from driveout.faults.actions import record_finding
from driveout.money import Rate
from driveout.money.actions import book_buyer_deposit, book_purchase, book_receipt, settle_deposit
from driveout.repairs.actions import choose_repair, drop_repair, finish_repair
from driveout.selling import actions
from driveout.selling.photos import MOST_PHOTOS
from driveout.selling.sale_papers import sale_papers_pdf
from driveout.store import Store, Tx
from driveout.units import Money
from driveout.wear.actions import record_readings
from driveout.workshop.actions import add_photo as photo_the_link
from driveout.workshop.actions import apply_torque, enter_torque, every_work, start_work
from tests.conftest import Clock
from tests.selling.test_photos import CAMERA, a_phone_jpeg

PRIVATE = ("Quillan", "Odalys", "Brackenford", "1,450", "145000", "188", "Penhalow")


def usd(amount: float) -> Money:
    return Money(round(amount * 100), "USD")


def told_car(tx: Tx, store: Store, clock: Clock) -> int:
    """A car with work, readings, a value applied, a fault left, receipts and two photos."""
    at = clock()
    car = add_car(
        tx,
        name="Tarnwick Linnet 1.4",
        currency="USD",
        made_year=2013,
        mileage_km=141_000,
        vin="1G4AH59H45G118341",
        at=at,
        stage="viewing",
        facts={"title": "clean", "place": "Brackenford", "seller": "Odalys Quist"},
    ).id
    book_purchase(tx, car, usd(1450), at.date(), at=at)
    book_receipt(tx, car, "parts", usd(188.60), "Clutch kit", "Quillan Motor Factors", at.date(), at=at)
    choose_repair(tx, car, "rep_clutch_fwd", "new", at=at)
    finish_repair(tx, car, "rep_clutch_fwd", at=at)
    choose_repair(tx, car, "rep_rocker_gasket", "new", at=at)
    drop_repair(tx, car, "rep_rocker_gasket", note="weeps, no drops", at=at)
    clock.forward(days=2)
    record_finding(tx, car, finding="d_clutch_hold", outcome="yes", origin="check", at=clock())
    job = start_work(tx, car, "brakes_front_disc", ["pads_only"], at=clock())
    enter_torque(
        tx,
        car,
        job.id,
        "wheel_nuts",
        {"value": "108 N·m", "origin": "copied", "document": "maker's workshop book", "page": "41"},
        at=clock(),
    )
    apply_torque(tx, car, job.id, "wheel_nuts", "108 N·m", at=clock())
    corner = {"pad_inner": "2.1 mm", "pad_outer": "6 mm", "tread_inner": "5", "tread_middle": "5.2"}
    record_readings(tx, car, "corner", {"front left": {**corner, "tread_outer": "5.1"}}, at=clock())
    record_readings(tx, car, "engine", {"engine": {"dry": "172 168 170 169 psi"}}, at=clock())
    for turn, subject, caption in ((1, "fault", "stone chip, bonnet"), (6, "whole car", "")):
        actions.add_photo(
            tx, store.home, car, a_phone_jpeg(turn=turn), subject=subject, caption=caption, at=clock()
        )
    return car


def inflated(pdf: bytes) -> bytes:
    """The PDF with its compressed streams opened, so that nothing hides in them."""
    parts = [pdf]
    for piece in pdf.split(b"stream\n")[1:]:
        try:
            parts.append(zlib.decompressobj().decompress(piece))
        except zlib.error:
            continue
    return b"".join(parts)


def keep(name: str, made: bytes) -> None:
    """Keep a PDF for the eye when DRIVEOUT_SHOTS names a folder."""
    if folder := os.environ.get("DRIVEOUT_SHOTS"):
        Path(folder, name).write_bytes(made)


def test_the_buyers_file_tells_the_car_and_no_private_data(store: Store, clock: Clock) -> None:
    with store.writing() as tx:
        car = told_car(tx, store, clock)
        file = actions.buyers_file(tx, car, clock().date())
        made = actions.printed_buyers_file(tx, store.home, car, clock().date())
    keep("buyers-file.pdf", made)

    held = repr(asdict(file))
    assert "Clutch kit" in held
    assert [word for word in PRIVATE if word in held] == []
    pads = next(row for row in file.readings if row.what.startswith("Pads front left"))
    assert pads.shown.startswith("2.1")
    assert pads.limit
    assert file.tightened[0].endswith("108 N·m, copied from a document (maker's workshop book, page 41)")
    assert any("left as it is" in line for line in file.facts.remains)
    assert any(f"({clock().date().isoformat()})" in line for line in file.facts.remains)
    assert [photo.subject for photo in file.photos] == ["whole car", "fault"]
    assert file.on == clock().date()


def test_no_gps_position_or_device_is_in_the_printed_file(store: Store, clock: Clock) -> None:
    taken = a_phone_jpeg(turn=6)
    with store.writing() as tx:
        car = told_car(tx, store, clock)
        whole = next(photo for photo in actions.photos_of(tx, car) if photo.subject == "whole car")
        made = inflated(actions.printed_buyers_file(tx, store.home, car, clock().date()))
        leaves, kind = actions.leaving_photo(tx, store.home, car, whole.digest)

    assert CAMERA.encode() in taken
    assert CAMERA.encode() not in made
    assert b"2026:05:04" not in made
    assert kind == "jpeg"
    assert CAMERA.encode() not in leaves


def test_photos_come_and_go_by_the_trail(store: Store, clock: Clock) -> None:
    with store.writing() as tx:
        car = told_car(tx, store, clock)
        before = actions.photos_of(tx, car)
        actions.drop_photo(tx, car, before[0].digest, at=clock())
        after = actions.photos_of(tx, car)
        with pytest.raises(BadEntry, match="no such photo"):
            actions.leaving_photo(tx, store.home, car, before[0].digest)

        assert after == before[1:]
        assert trail_of(tx, car)[0].summary == "Photo taken out, whole car"


def test_a_photo_from_the_work_can_be_given_to_the_buyer(store: Store, clock: Clock) -> None:
    taken = a_phone_jpeg(comment=b"bench")
    with store.writing() as tx:
        car = told_car(tx, store, clock)
        job = next(work.job.id for work in every_work(tx, car) if work.torques)
        photo_the_link(tx, car, job, "wheel_nuts", taken, home=store.home, at=clock())
        ((number, photo),) = actions.work_photos(tx, car)
        actions.give_work_photo(tx, store.home, car, number, photo.digest, at=clock())

        assert number == job
        assert actions.work_photos(tx, car) == ()
        given = next(p for p in actions.photos_of(tx, car) if p.subject == "work done")
        assert given.caption == photo.title
        assert CAMERA.encode() not in actions.leaving_photo(tx, store.home, car, given.digest)[0]


def test_a_strange_photo_a_strange_subject_and_too_many_are_refused(store: Store, clock: Clock) -> None:
    with store.writing() as tx:
        car = told_car(tx, store, clock)
        with pytest.raises(BadEntry, match="JPEG or PNG"):
            actions.add_photo(tx, store.home, car, b"GIF89a", subject="fault", at=clock())
        with pytest.raises(BadEntry, match="no subject"):
            actions.add_photo(tx, store.home, car, a_phone_jpeg(), subject="dog", at=clock())
        for number in range(MOST_PHOTOS - 2):
            data = a_phone_jpeg(comment=f"{number}".encode())
            actions.add_photo(tx, store.home, car, data, subject="work done", at=clock())
        with pytest.raises(BadEntry, match="Take one out first"):
            actions.add_photo(tx, store.home, car, a_phone_jpeg(comment=b"last"), subject="fault", at=clock())


def test_the_papers_are_filled_from_the_accepted_offer(store: Store, clock: Clock) -> None:
    with store.writing() as tx:
        car = told_car(tx, store, clock)
        blank = actions.sale_papers(tx, car, clock().date())
        actions.make_plan(tx, car, {"value": "4300", "fallback": "2900"}, at=clock())
        offer = actions.record_offer(tx, car, usd(4200), buyer="M. Penhalow", at=clock())
        actions.reply_to_offer(tx, car, offer.id, "accept", version=offer.version, at=clock())
        papers = actions.sale_papers(tx, car, clock().date())
    made = sale_papers_pdf(papers)
    keep("sale-papers.pdf", made)

    assert (blank.buyer, blank.price, blank.rest) == ("", None, None)
    assert (papers.buyer, papers.price) == ("M. Penhalow", usd(4200))
    # 49 CFR 580.17: model year 2013 is first exempt in 2033.
    assert "2033" in papers.odometer
    assert made.startswith(b"%PDF-")


def test_deposit_and_rest_on_the_papers_come_from_the_journal(store: Store, clock: Clock) -> None:
    with store.writing() as tx:
        car = told_car(tx, store, clock)
        day = clock().date()
        actions.make_plan(tx, car, {"value": "4300", "fallback": "2900"}, at=clock())
        offer = actions.record_offer(tx, car, usd(3900), buyer="M. Penhalow", at=clock())
        offer = actions.reply_to_offer(
            tx, car, offer.id, "counter", version=1, at=clock(), counter_at=usd(4100)
        )
        offer = actions.reply_to_offer(tx, car, offer.id, "accept", version=2, at=clock())
        first = book_buyer_deposit(tx, car, usd(100), "R. Sorrel", day, at=clock())
        settle_deposit(tx, car, usd(100), day, at=clock())
        rate = Rate("EUR", "USD", Decimal("1.08"), day, "bank")
        book_buyer_deposit(tx, car, Money(5000, "EUR"), "M. Penhalow", day, at=clock(), rate=rate)
        book_buyer_deposit(tx, car, usd(150), "M. Penhalow", day, at=clock())
        actions.check_handover(tx, car, "final_transfer", [], at=clock())
        held = actions.sale_papers(tx, car, day)
        actions.sell_car(tx, car, usd(4100), at=clock(), buyer="M. Penhalow")
        sold = actions.sale_papers(tx, car, day)
    keep("sale-papers-deposit.pdf", sale_papers_pdf(held))
    keep("sale-papers-sold.pdf", sale_papers_pdf(sold))

    assert first.fact("buyer") == "R. Sorrel"
    assert [(one.amount, one.paid) for one in held.deposits] == [(usd(54), "50.00 EUR"), (usd(150), "")]
    # 4100.00 agreed by the counter, less 54.00 and 150.00.
    assert (held.price, held.deposit, held.rest) == (usd(4100), usd(204), usd(3896))
    assert (held.sold_on, sold.sold_on) == (None, day)
    assert (sold.rest, sold.buyer, sold.paid_by) == (usd(3896), "M. Penhalow", "Transfer, final")
    assert "R. Sorrel" not in repr(sold.as_dict())
