"""Decoders on this machine: what they say is a proposal with its source, and differences are told."""

from __future__ import annotations

import sys

import pytest

from driveout.cars.actions import add_car, get_car, set_identity, take_over, trail_of
from driveout.cars.decoded import Decoded, DecodedFact, compared, decoders, takeable
from driveout.errors import BadEntry, Conflict
from driveout.store import Store

# The textbook number of the US registry's own decoding pages: coupe of model year 2003, six cylinders, automatic.
TEXTBOOK = "1HGCM82633A004352"


def test_the_registrys_patterns_tell_year_and_gearbox_with_their_source() -> None:
    said = decoders(TEXTBOOK)[0]
    told = {fact.name: fact.shown for fact in said.facts}

    assert said.source.startswith("ultravin 3")
    assert "US registry patterns of 20" in said.source
    assert told["model year"] == "2003"
    assert told["gearbox"] == "auto"
    assert told["cylinders"] == "6"
    assert told["body"] == "Coupe"
    assert said.troubles == ()


def test_a_wrong_check_digit_is_among_the_decoders_complaints() -> None:
    said = decoders("1HGCM82643A004352")[0]

    assert any("Check Digit" in text for text in said.troubles)


def test_a_maker_is_named_by_the_prefix_and_nonsense_by_nobody() -> None:
    # The library's own textbook number, made in Great Britain.
    said = decoders("SJNFDNJ11U1084383")

    assert any(fact.name == "maker" for one in said if one.source.startswith("vininfo") for fact in one.facts)
    assert decoders("nonsense") == ()


def test_without_the_packages_nothing_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ultravin", None)
    monkeypatch.setitem(sys.modules, "vininfo", None)

    assert decoders(TEXTBOOK) == ()


@pytest.mark.parametrize(
    ("typed", "agrees", "shown"),
    [
        ({}, None, ""),
        ({"made_year": 2003}, True, "2003"),
        ({"made_year": 2004}, False, "2004"),
    ],
)
def test_what_was_typed_stands_beside_what_the_number_says(
    typed: dict[str, int], agrees: bool | None, shown: str
) -> None:
    row = compared(Decoded("a decoder", (DecodedFact("model year", "2003", "made_year", 2003),)), typed)[0]

    assert (row.agrees, row.typed) == (agrees, shown)


def test_only_what_was_ticked_and_told_is_taken_and_the_first_decoder_wins() -> None:
    told = (
        Decoded("first", (DecodedFact("gearbox", "manual", "gearbox", "manual"), DecodedFact("make", "X"))),
        Decoded("second", (DecodedFact("gearbox", "auto", "gearbox", "auto"),)),
    )

    assert takeable(told, ("gearbox", "turbo")) == ({"gearbox": "manual"}, "first")


def test_typed_facts_stay_until_the_person_takes_the_proposal(either_store: Store) -> None:
    store = either_store
    with store.writing() as tx:
        car = add_car(
            tx, name="A car", currency="USD", at=store.now(), made_year=2004, facts={"gearbox": "manual"}
        )
        set_identity(tx, car.id, "1HGCM 82633 A004352", 2004, at=store.now())
    with store.reading() as tx:
        kept = get_car(tx, car.id)
    assert (kept.vin, kept.made_year, kept.facts["gearbox"]) == (TEXTBOOK, 2004, "manual")

    with store.writing() as tx:
        take_over(tx, car.id, ("made_year",), at=store.now())
    with store.reading() as tx:
        now = get_car(tx, car.id)
        newest = trail_of(tx, car.id)[0]
    assert (now.made_year, now.facts["gearbox"]) == (2003, "manual")
    assert "taken from ultravin" in newest.summary
    assert newest.data["before"] == {"made_year": 2004}


def test_a_number_that_cannot_be_or_an_empty_tick_changes_nothing(store: Store) -> None:
    with store.writing() as tx:
        car = add_car(tx, name="A car", currency="USD", at=store.now(), vin=TEXTBOOK).id
    with pytest.raises(BadEntry, match="Is it the digit 1"), store.writing() as tx:
        set_identity(tx, car, "1HGCM82633A00435I", None, at=store.now())
    with pytest.raises(BadEntry, match="Nothing was ticked"), store.writing() as tx:
        take_over(tx, car, (), at=store.now())
    with pytest.raises(Conflict, match="another window"), store.writing() as tx:
        set_identity(tx, car, "", None, at=store.now(), version=99)
    with store.reading() as tx:
        assert get_car(tx, car).vin == TEXTBOOK
