"""The journal file and the CSV: read with file and line, written so that they come back the same."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace
from pathlib import Path

import pytest

from driveout.errors import BadEntry, BadRows
from driveout.money import Journal, journal_csv, journal_from_csv, journal_yaml, read_journal
from driveout.money.exports import guarded, unguarded
from driveout.money.journal_file import merged, minor_units
from tests.money.story import car_story

SMALL = """\
schema: driveout-journal/1
currency: USD
entries:
  - day: 2026-04-02
    what: Bought the car
    postings:
      - {account: "Assets:WIP:Car-1:Purchase", amount: 1450}
      - {account: "Assets:Bank", amount: "-1450.00"}
"""


def test_a_small_file_is_read() -> None:
    journal = read_journal(SMALL, "mine.yaml")

    assert journal.balances()["Assets:Bank", "USD"] == -145000
    assert journal.entries[0].number == 1


def test_the_story_comes_back_from_yaml_and_from_csv_as_it_was() -> None:
    journal = Journal("USD", car_story(), datetime.date(2026, 4, 30))

    assert read_journal(journal_yaml(journal), "story.yaml") == journal
    again = journal_from_csv(journal_csv(journal.entries).encode(), "story.csv", "USD")
    assert again.entries == journal.entries


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("-1450.00", "-1449.99", r"mine\.yaml:4 entries\.0: .*0\.01 USD too much"),
        ("2026-04-02", "yesterday", r"mine\.yaml:4 entries\.0\.day: .*not a day"),
        ("amount: 1450", "amount: 1450.005", "does not fit USD"),
        ("amount: 1450", "amount: '1,450'", "not a plain number"),
        ("amount: 1450", "amount: many", r"mine\.yaml:7 .*not a plain number"),
        ("amount: 1450", "amount: true", "is not a number"),
        ("what: Bought", "why: Bought", r"mine\.yaml:5 entries\.0\.why: 'why' is not a key"),
        ("Assets:Bank", "Bank", "is not an account"),
        ("    what: Bought the car\n", "", "has no 'what'"),
        ("    day: 2026-04-02\n    what", "    number: 0\n    day: 2026-04-02\n    what", "above 0"),
    ],
)
def test_each_mistake_names_file_line_and_key(old: str, new: str, words: str) -> None:
    text = SMALL.replace("  - day: 2026-04-02", "  -\n    day: 2026-04-02") if "number" in new else SMALL
    with pytest.raises(BadRows) as caught:
        read_journal(text.replace(old, new), "mine.yaml")

    assert re.search(words, str(caught.value))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("driveout-journal/1", "driveout-journal/9", "driveout-journal/1"),
        ("currency: USD", "currency: dollars", "currency code"),
        ("entries:", "entris:", "not a key"),
        ("2026-04-02", "2026-13-02", r"mine\.yaml:4: .*month must be in 1"),
        ("currency: USD", "currency: USD\nclosed_through: soon", "not a day"),
    ],
)
def test_a_mistake_at_the_top_stops_the_file(old: str, new: str, words: str) -> None:
    with pytest.raises(BadEntry, match=words):
        read_journal(SMALL.replace(old, new), "mine.yaml")


def test_all_bad_entries_are_shown_together() -> None:
    extra = SMALL.split("entries:\n")[1]
    text = SMALL + extra.replace("1450.00", "1.00") + extra.replace("1450.00", "2.00")
    with pytest.raises(BadRows) as caught:
        read_journal(text, "mine.yaml")

    assert len(caught.value.entries) == 2


def test_a_reversal_that_mirrors_nothing_is_refused() -> None:
    with pytest.raises(BadRows, match="cannot be used") as caught:
        read_journal(SMALL.replace("    postings:", "    links: [reverses-7]\n    postings:"), "mine.yaml")

    assert "takes back entry 7" in str(caught.value)


def test_two_entries_with_one_number_are_refused() -> None:
    journal = Journal("USD", (car_story()[0], replace(car_story()[1], number=1)))
    with pytest.raises(BadRows) as caught:
        read_journal(journal_yaml(journal), "mine.yaml")

    assert "stands twice" in str(caught.value)


def test_importing_the_same_file_twice_adds_nothing() -> None:
    story = car_story()

    assert merged(story, story) == ()
    assert merged((), story) == story
    assert merged(story[:3], (*story, story[1])) == (*story[3:], story[1])


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "'quoted", "plain", ""])
def test_no_cell_is_a_formula_and_every_cell_comes_back(text: str) -> None:
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r"))
    assert unguarded(guarded(text)) == text


def test_a_csv_that_is_not_ours_says_which_columns_are_missing() -> None:
    with pytest.raises(BadEntry, match="lacks the column"):
        journal_from_csv(b"date,amount\n2026-01-01,5\n", "bank.csv", "USD")


def test_bad_rows_of_a_csv_are_collected() -> None:
    text = (
        journal_csv(car_story()[:1]).replace("3000.00", "3000.001", 1)
        + "x,2026-01-01,a,Assets:Bank,1,USD,,\r\n"
    )
    with pytest.raises(BadRows) as caught:
        journal_from_csv(text.encode(), "own.csv", "USD")

    assert len(caught.value.entries) >= 2


@pytest.mark.parametrize(
    ("amount", "commodity", "minor"), [("1e2", "USD", 10000), (0.1, "KWD", 100), ("7", "JPY", 7)]
)
def test_written_amounts_are_exact(amount: object, commodity: str, minor: int) -> None:
    assert minor_units(amount, commodity) == minor


@pytest.mark.parametrize("amount", ["nan", "inf", "1e30", "", None])
def test_amounts_that_are_no_money_are_refused(amount: object) -> None:
    with pytest.raises(BadEntry, match="amount"):
        minor_units(amount, "USD")


def test_the_example_in_the_format_page_is_read_and_balances() -> None:
    page = Path(__file__).parents[2] / "docs/formats/journal.md"
    example = re.search(
        r"```yaml\n(schema: driveout-journal/1.*?)```", page.read_text(encoding="utf-8"), re.DOTALL
    )
    assert example
    journal = read_journal(example.group(1), "example.yaml")

    assert sum(amount for (_, unit), amount in journal.balances().items() if unit == "USD") == 0
    assert len(journal.entries) >= 4
