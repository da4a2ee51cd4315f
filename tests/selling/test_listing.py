from __future__ import annotations

from datetime import date

import pytest

from driveout.cars.actions import add_car
from driveout.errors import BadEntry
from driveout.faults.actions import record_finding
from driveout.money.actions import book_receipt
from driveout.repairs.actions import choose_repair, finish_repair
from driveout.selling.actions import buyers_file, listing_facts
from driveout.selling.buyers_file import BuyersFile, buyers_file_pdf
from driveout.selling.listing import LENGTHS, ListingFacts, gaps, listing_text, photo_order
from driveout.store import Store
from driveout.units import Money
from tests.conftest import Clock

FACTS = ListingFacts(
    name="Tarnwick Linnet 1.4",
    made_year=2013,
    mileage_km=141_000,
    title="clean",
    place="Brackenford",
    ask=Money(460_000, "USD"),
    done=("Clutch, new, 2026-05-02",),
    measured=("Front brake disc: 21.4 mm",),
    remains=("Rear wiper does not move (2026-05-03)",),
)


def test_known_faults_stand_in_every_length() -> None:
    for length in LENGTHS:
        assert "Rear wiper does not move" in listing_text(FACTS, length)


def test_longer_texts_hold_more_of_the_record() -> None:
    short, usual, full = (listing_text(FACTS, length) for length in LENGTHS)

    assert "Clutch, new" not in short
    assert "Clutch, new" in usual
    assert "21.4 mm" not in usual
    assert "21.4 mm" in full
    assert "141,000 km (87,613 miles)" in short


def test_nothing_is_said_that_is_not_recorded() -> None:
    text = listing_text(ListingFacts("Linnet"), "full")

    assert text.splitlines()[0] == "Linnet."
    assert "Work done" not in text
    assert "title" not in text
    assert any("Say so only if you have looked" in gap for gap in gaps(ListingFacts("Linnet")))


def test_photos_show_the_work_and_the_faults() -> None:
    shown = "\n".join(photo_order(FACTS))

    assert "Clutch, new" in shown
    assert "Rear wiper" in shown


def test_a_strange_length_is_refused() -> None:
    with pytest.raises(BadEntry, match="no length"):
        listing_text(FACTS, "endless")  # type: ignore[arg-type]


def test_the_record_tells_what_was_done_and_what_remains(store: Store, clock: Clock) -> None:
    with store.writing() as tx:
        car = add_car(
            tx, name="Linnet", currency="USD", made_year=2013, mileage_km=141_000, at=clock(), stage="bought"
        ).id
        record_finding(tx, car, finding="d_clutch_hold", outcome="yes", origin="check", at=clock())
        choose_repair(tx, car, "rep_clutch_fwd", "new", at=clock())
    clock.forward(days=3)
    with store.writing() as tx:
        finish_repair(tx, car, "rep_clutch_fwd", at=clock())
        facts = listing_facts(tx, car, clock().date())

    assert len(facts.done) == 1
    assert facts.remains == ()
    assert len(facts.to_settle) == 1


def test_the_buyers_file_holds_the_receipts_without_shop_and_price(store: Store, clock: Clock) -> None:
    with store.writing() as tx:
        car = add_car(
            tx, name="Linnet", currency="USD", made_year=2013, mileage_km=141_000, at=clock(), stage="bought"
        ).id
        day = clock().date()
        book_receipt(tx, car, "parts", Money(18_860, "USD"), "Clutch kit", "Quillan", day, at=clock())
        file = buyers_file(tx, car, day)

    assert file.receipts == (f"{day.isoformat()}: Clutch kit",)
    # 49 CFR 580.17: model year 2011 and later stays under the duty for 20 years.
    assert "20" in file.odometer


def test_the_buyers_file_is_a_pdf_and_words_in_it_are_never_markup() -> None:
    hostile = ListingFacts('#panic("x") *b* $', done=('#import "/etc/passwd"',), remains=("<label> @ref",))
    made = buyers_file_pdf(BuyersFile(hostile, "", (), "", date(2026, 5, 4)))

    assert made.startswith(b"%PDF-")
