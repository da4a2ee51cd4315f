"""The page of the identification number, without JavaScript."""

from __future__ import annotations

import re

import pytest

from driveout.cars.actions import add_car, get_car
from driveout.store import Store
from tests.conftest import Browser


@pytest.fixture
def car(store: Store) -> int:
    with store.writing() as tx:
        return add_car(
            tx,
            name="Tarnwick Linnet 1.4",
            currency="USD",
            at=store.now(),
            made_year=2004,
            facts={"gearbox": "manual"},
        ).id


def words(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html[html.index("<main") :]))


def test_a_number_is_entered_and_its_check_digit_and_year_are_told(browser: Browser, car: int) -> None:
    text = words(browser.post(f"/cars/{car}/identity", {"vin": "1g4ah59h45g118341", "made_year": "2005"}))

    # Table V of 49 CFR 565; position 7 numeric, position 10 is 5: 2005.
    assert "1G4AH59H45G118341 : the check digit holds" in text or "1G4AH59H45G118341: the check digit" in text
    assert "Model year 2005 by position 10" in text
    assert "They differ" not in text.split("What decoders")[0]


@pytest.mark.parametrize("letter", "IOQ")
def test_letters_that_no_number_has_are_asked_and_nothing_typed_is_lost(
    browser: Browser, store: Store, car: int, letter: str
) -> None:
    typed = f"1G4AH59H45G1{letter}8341"
    html = browser.post(f"/cars/{car}/identity", {"vin": typed, "made_year": "2005"}, status=422)

    assert f"Position 13 is {letter}" in words(html)
    assert f'value="{typed}"' in html
    assert 'value="2005"' in html
    # The two look-alikes of 1 get back the number of Table V; Q is replaced by 0, which does not hold here.
    assert ("1G4AH59H45G118341" in html) == (letter == "I")
    with store.reading() as tx:
        assert get_car(tx, car).vin == ""


def test_a_suggestion_is_taken_with_one_tap(browser: Browser, store: Store, car: int) -> None:
    html = browser.post(f"/cars/{car}/identity", {"vin": "1G4AH59H45G11B341"})
    assert 'name="vin" value="1G4AH59H45G118341"' in html

    browser.post(f"/cars/{car}/identity", {"vin": "1G4AH59H45G118341", "made_year": "2005"})
    with store.reading() as tx:
        assert get_car(tx, car).vin == "1G4AH59H45G118341"


def test_proposals_stand_beside_what_was_typed_and_are_never_taken_silently(
    browser: Browser, store: Store, car: int
) -> None:
    html = browser.post(f"/cars/{car}/identity", {"vin": "1HGCM82633A004352", "made_year": "2004"})
    text = words(html)

    assert "You typed model year 2004, the number allows 2003" in text
    assert "you have manual, the number says auto" in text
    with store.reading() as tx:
        assert get_car(tx, car).facts["gearbox"] == "manual"
    after = words(browser.post(f"/cars/{car}/identity/take", {"take": "gearbox"}))
    with store.reading() as tx:
        assert get_car(tx, car).facts["gearbox"] == "auto"
        assert get_car(tx, car).made_year == 2004
    assert "auto (agrees)" in after


def test_a_short_number_and_a_year_of_the_future_are_refused(browser: Browser, car: int) -> None:
    assert "has 5 characters" in browser.post(f"/cars/{car}/identity", {"vin": "12345"}, status=422)
    assert 'value="2031"' in browser.post(f"/cars/{car}/identity", {"made_year": "2031"}, status=422)


def test_an_empty_tick_is_refused(browser: Browser, car: int) -> None:
    browser.post(f"/cars/{car}/identity", {"vin": "1HGCM82633A004352"})

    assert "Nothing was ticked" in browser.post(f"/cars/{car}/identity/take", {}, status=422)
