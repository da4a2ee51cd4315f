"""Entries balance or say by how much; nothing booked is ever edited."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest

from driveout.errors import BadEntry
from driveout.money import Entry, Posting, balances, checked, reversal, standing
from driveout.money.journal import MINUTES, amount_text, numbered, under

DAY = datetime.date(2026, 5, 4)


def an_entry(amount: int = 14200, **changes: object) -> Entry:
    entry = Entry(
        DAY,
        "Clutch kit",
        (Posting("Assets:WIP:Car-1:Parts", amount, "USD"), Posting("Assets:Bank", -14200, "USD")),
        number=3,
    )
    return replace(entry, **changes)  # type: ignore[arg-type]


def test_a_balanced_entry_is_accepted() -> None:
    assert checked(an_entry()).number == 3


def test_an_entry_one_cent_out_says_so_in_money() -> None:
    with pytest.raises(BadEntry, match=r"does not balance: 0\.01 USD too much"):
        checked(an_entry(14201))


def test_an_entry_in_two_currencies_must_balance_in_each() -> None:
    two = (Posting("Assets:Bank", 100, "EUR"), Posting("Assets:Cash", -100, "USD"))
    with pytest.raises(BadEntry, match=r"1\.00 EUR too much and 1\.00 USD too little"):
        checked(an_entry(postings=two))


def test_a_closed_period_takes_no_entry_on_its_last_day_but_one_the_day_after() -> None:
    with pytest.raises(BadEntry, match="closed period"):
        checked(an_entry(), closed_through=DAY)

    assert checked(an_entry(), closed_through=DAY - datetime.timedelta(days=1))


@pytest.mark.parametrize(
    "account", ["Bank", "Assets", "Assets:bank", "Assets::Bank", "Memo:Time", "Assets:Bänk"]
)
def test_an_account_that_other_programs_would_refuse_is_refused(account: str) -> None:
    bad = (Posting(account, 1, "USD"), Posting("Assets:Bank", -1, "USD"))
    with pytest.raises(BadEntry, match="is not an account"):
        checked(an_entry(postings=bad))


@pytest.mark.parametrize("amount", [1.5, True, "12"])
def test_an_amount_that_is_not_whole_minor_units_is_refused(amount: object) -> None:
    bad = (Posting("Assets:Cash", amount, "USD"), Posting("Assets:Bank", -1, "USD"))  # type: ignore[arg-type]
    with pytest.raises(BadEntry, match="whole number of minor units"):
        checked(an_entry(postings=bad))


def test_an_absurdly_large_amount_is_refused() -> None:
    bad = (Posting("Assets:Cash", 10**15 + 1, "USD"), Posting("Assets:Bank", -(10**15) - 1, "USD"))
    with pytest.raises(BadEntry, match="absurdly large"):
        checked(an_entry(postings=bad))


def test_own_time_never_stands_on_a_money_account_nor_money_on_a_memo() -> None:
    time = (Posting("Assets:Bank", 5, MINUTES), Posting("Equity:Memo:Time:Given", -5, MINUTES))
    money = (Posting("Equity:Memo:Time:Car-1", 5, "USD"), Posting("Assets:Bank", -5, "USD"))
    for postings in (time, money):
        with pytest.raises(BadEntry, match="memos without money"):
            checked(an_entry(postings=postings))


@pytest.mark.parametrize("what", ["", "  ", "two\nlines", "x" * 401])
def test_the_words_of_an_entry_are_one_line(what: str) -> None:
    with pytest.raises(BadEntry, match="one line"):
        checked(an_entry(narration=what))


def test_one_posting_is_not_an_entry() -> None:
    with pytest.raises(BadEntry, match="at least two"):
        checked(an_entry(postings=(Posting("Assets:Bank", 0, "USD"),)))


def test_a_bad_link_and_a_bad_fact_are_named() -> None:
    with pytest.raises(BadEntry, match="is not a link"):
        checked(an_entry(links=("has space",)))
    with pytest.raises(BadEntry, match="small-letter name"):
        checked(an_entry(facts=(("Shop", "x"),)))


def test_a_reversal_restores_the_balances_and_both_leave_what_stands() -> None:
    first = an_entry()
    back = replace(reversal(first, DAY, "typed twice"), number=4)

    assert set(balances([first, back]).values()) == {0}
    assert standing([first, back]) == ()
    assert "typed twice" in back.narration


def test_a_reversal_cannot_itself_be_reversed() -> None:
    back = replace(reversal(an_entry(), DAY, ""), number=4)
    with pytest.raises(BadEntry, match="itself a reversal"):
        reversal(back, DAY, "")


def test_a_reversal_needs_a_booked_entry_and_a_later_day() -> None:
    with pytest.raises(BadEntry, match="has no number"):
        reversal(an_entry(number=0), DAY, "")
    with pytest.raises(BadEntry, match="before entry 3"):
        reversal(an_entry(), DAY - datetime.timedelta(days=1), "")


@pytest.mark.parametrize(
    ("amount", "commodity", "text"),
    [
        (-145000, "USD", "-1450.00"),
        (1450, "JPY", "1450"),
        (-5, "KWD", "-0.005"),
        (462, "MI", "46.2"),
        (0, "EUR", "0.00"),
    ],
)
def test_amounts_are_written_with_the_decimals_of_iso_4217(amount: int, commodity: str, text: str) -> None:
    assert amount_text(amount, commodity) == text


def test_balances_stop_at_a_day_and_add_up_below_an_account() -> None:
    later = an_entry(day=DAY + datetime.timedelta(days=1))
    both = numbered([an_entry(), later])

    assert under(balances(both), "Assets:WIP", "USD") == 28400
    assert under(balances(both, through=DAY), "Assets:WIP:Car-1", "USD") == 14200
    assert under(balances(both), "Assets:WI", "USD") == 0
