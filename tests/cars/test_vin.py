"""The identification number against 49 CFR 565 and an independent library."""

from __future__ import annotations

import pytest
from vininfo import Vin

from driveout.cars import read_vin
from driveout.cars.vin import check_digit
from driveout.errors import BadEntry


@pytest.mark.parametrize(
    ("vin", "digit"),
    [("1M8GDM9AXKP042788", "X"), ("1" * 17, "1"), ("5YJSA1H12FFP71790", "2")],
)
def test_textbook_numbers_hold(vin: str, digit: str) -> None:
    assert read_vin(vin, this_year=2026).check_digit == digit


def test_one_wrong_digit_is_noticed() -> None:
    assert not read_vin("1G4AH59H45G118342", this_year=2026).check_holds


def test_modulo_ten_is_not_modulo_eleven() -> None:
    """The common slip in public code: 411 mod 10 would give 1."""
    assert check_digit("1G4AH59H45G118341") != "1"


def test_the_year_of_a_bus_stays_ambiguous() -> None:
    reading = read_vin("1M8GDM9AXKP042788", this_year=2026, light_vehicle=False)

    assert reading.years == (1989, 2019)


def test_a_letter_at_position_seven_means_2010_or_later() -> None:
    assert read_vin("5YJSA1112FFP71790", this_year=2026).years == (1985,)
    assert read_vin("5YJSA1H12FFP71790", this_year=2026).years == (2015,)


def test_a_model_year_beyond_next_year_is_left_out() -> None:
    assert read_vin("5YJSA1H12YFP71790", this_year=2026).years == ()


@pytest.mark.parametrize("letter", "IOQ")
def test_look_alike_letters_are_refused_with_the_digit_to_try(letter: str) -> None:
    with pytest.raises(BadEntry, match="Is it the digit"):
        read_vin("1G4AH59H45G11834" + letter, this_year=2026)


def test_a_short_number_is_refused_with_its_length() -> None:
    with pytest.raises(BadEntry, match="has 16 characters"):
        read_vin("1G4AH59H45G11834", this_year=2026)


def test_our_check_digit_agrees_with_an_independent_library() -> None:
    base = "1G4AH59H45G118341"
    letters = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
    for position in (3, 4, 5, 10, 11, 15, 16):
        for letter in letters:
            vin = base[:position] + letter + base[position + 1 :]
            assert read_vin(vin, this_year=2026).check_holds == bool(Vin(vin).verify_checksum())
