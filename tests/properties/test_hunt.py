"""Whatever is pasted, the reader answers within bounds and points inside the text it shows."""

from __future__ import annotations

import contextlib
import time
import unicodedata
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from driveout.errors import BadEntry
from driveout.hunt.advert import LONGEST_TEXT, Advert, MoneyRange, Seller, Symptom
from driveout.hunt.advert_file import advert_from_file, advert_text
from driveout.hunt.phrases import pack_phrases
from driveout.hunt.plain_text import plain_text
from driveout.hunt.reader import read_advert
from driveout.hunt.sift import safe_cell
from driveout.units import Money

PIECES = st.sampled_from(
    ["$", "€", "1,450", "1.450", "1 450", "2013", "185k", "km", "miles", "asking", "was", "now", "no ", "rust", "clutch",
     "slips", "might", "<b>", "</b>", "&nbsp;", "\u202e", "\u200b", "１２３", "万", "руб", "…", "\n", " ", ",", ".", "-", "k", "xxx",
     "120xxx", "OBO", "title", "new", "🚗", "é", "(555) 010-4477", "05/2013", "'13", "\x00", "price", ":", "tyres", "or"]
)  # fmt: skip
TEXTS = st.one_of(
    st.text(max_size=400),
    st.lists(PIECES, max_size=60).map("".join),
    st.lists(PIECES, max_size=40).map(" ".join),
)


@given(TEXTS)
@example("")
@example("1001万")
@example("²½Ⅻ①①¾")
@example("İstanbul'da satılık ﬁne car ǆ")
@settings(max_examples=60, deadline=None)
def test_any_text_is_answered_and_every_word_is_where_it_says(text: str) -> None:
    found = read_advert(text, phrases=pack_phrases(), today_year=2026)

    for item in found.items:
        assert found.text[item.words.start : item.words.end] == item.words.text
        for other in item.alternatives:
            assert found.text[other.words.start : other.words.end] == other.words.text
    advert = found.advert()
    assert advert.asking is None or advert.asking.minor >= 0
    assert all(unicodedata.category(letter) not in ("Cf", "Cs") for letter in found.text)
    assert all(unicodedata.category(letter) != "Cc" or letter in "\n\t" for letter in found.text)


@given(st.text(max_size=300))
@settings(max_examples=60, deadline=None)
def test_the_folded_text_knows_where_each_letter_came_from(text: str) -> None:
    plain = plain_text(text)

    assert len(plain.origin) == len(plain.folded)
    assert list(plain.origin) == sorted(plain.origin)
    assert all(0 <= place < len(plain.shown) for place in plain.origin)


@given(
    st.integers(120, 99_999),
    st.sampled_from(["{:,}", "{}", "{:,}.00"]),
    st.sampled_from(["asking ${}", "price: {} USD", "${} obo", "{} dollars firm", "USD {}", "now only ${}"]),
)
@settings(max_examples=60, deadline=None)
def test_a_price_is_read_in_every_usual_writing(amount: int, style: str, words: str) -> None:
    text = "2011 Linnet hatch, needs work. " + words.format(style.format(amount)) + ". 92,000 miles"

    price = read_advert(text, today_year=2026).advert().asking

    if amount not in (123, 1111, 1234, 11111, 12345, 99_999):  # taken for "no price"
        assert price == Money(amount * 100, "USD")


@given(
    st.integers(5_000, 400_000),
    st.sampled_from([",", ".", " ", "'", ""]),
    st.sampled_from(["{} km", "{} kms on the clock", "mileage: {} km", "{} kilometres", "пробег {} км"]),
)
@settings(max_examples=60, deadline=None)
def test_a_distance_is_read_with_every_thousands_mark(km: int, mark: str, words: str) -> None:
    text = "Linnet from 2011, " + words.format(f"{km:,}".replace(",", mark)) + "; $1,500"

    assert read_advert(text, today_year=2026).advert().mileage_km == km


@pytest.mark.parametrize(
    "junk",
    [
        "a" * 1_000_000,
        "<" * 199_000,
        "<script>" * 20_000,
        "1," * 400_000,
        "\u202e" * 1_000_000,
    ],
)
def test_a_megabyte_of_junk_is_refused_or_read_in_bounded_time(junk: str) -> None:
    start = time.perf_counter()

    with contextlib.suppress(BadEntry):
        read_advert(junk, phrases=pack_phrases(), today_year=2026)

    assert time.perf_counter() - start < 3.0


def test_a_text_too_long_for_an_advert_is_refused_with_the_remedy() -> None:
    with pytest.raises(BadEntry, match="Paste only the advert, not the whole page"):
        read_advert("a" * (LONGEST_TEXT + 1), today_year=2026)


@pytest.mark.parametrize(
    "piece",
    ["1,", "no rust ", "clutch slips, ", "$1 ", "1 450 ", "(", "555-", "<b ", "&amp;", "k", "new ", "was 1 now ", "price: ", "x,",
     "asking for about only just like ", "1.1.1.", "0" * 50 + " ", "a'b", "万", "e\u0301", "every 5000 miles ", "км ", "'1"],
)  # fmt: skip
def test_the_longest_text_made_of_one_piece_stays_within_two_seconds(piece: str) -> None:
    text = (piece * LONGEST_TEXT)[: LONGEST_TEXT - 1]
    read_advert("warm up", phrases=pack_phrases(), today_year=2026)
    start = time.perf_counter()

    read_advert(text, phrases=pack_phrases(), today_year=2026)

    assert time.perf_counter() - start < 4.0  # two seconds, doubled for a slow and shared machine


NAMES = st.text(
    st.characters(blacklist_categories=("Cs", "Cc"), blacklist_characters="\ufeff\x85\u2028\u2029"),
    max_size=30,
)
AMOUNTS = st.integers(0, 5_000_000).map(lambda minor: Money(minor, "USD"))


@given(
    name=NAMES,
    asking=st.none() | AMOUNTS,
    year=st.none() | st.integers(1886, 2027),
    km=st.none() | st.integers(0, 2_500_000),
    value=st.none() | st.tuples(AMOUNTS, AMOUNTS, AMOUNTS),
    symptoms=st.lists(st.tuples(st.sampled_from(["a_b", "c", "d_e_f"]), st.booleans(), NAMES), max_size=4),
    far=st.none() | st.integers(0, 20_000),
    text=NAMES,
)
@settings(max_examples=60, deadline=None)
def test_every_advert_survives_being_written_and_read(
    name: str,
    asking: Money | None,
    year: int | None,
    km: int | None,
    value: tuple[Money, Money, Money] | None,
    symptoms: list[tuple[str, bool, str]],
    far: int | None,
    text: str,
) -> None:
    advert = Advert(
        name=name,
        asking=asking,
        made_year=year,
        mileage_km=km,
        clean_value=None if value is None else MoneyRange(*sorted(value, key=lambda m: m.minor)),
        symptoms=tuple(Symptom(f, "yes", hedged, words) for f, hedged, words in symptoms),
        distance_km=None if far is None else float(far),
        seller=Seller(name=name),
        text=text,
    )

    assert advert_from_file(advert_text(advert), "a.yaml", today=date(2026, 11, 25)) == advert


@given(st.text(max_size=60))
@settings(max_examples=60, deadline=None)
def test_no_cell_of_the_result_starts_a_formula(text: str) -> None:
    cell = safe_cell(text)

    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "|", "%"))
    assert "\n" not in cell
    assert Decimal(cell.count("\x00")) == 0
