"""Money in another currency: a typed rate, both sides booked, gain and loss on the exchange line."""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path

import pytest

from driveout.cars.actions import add_car, trail_of
from driveout.errors import BadEntry
from driveout.money import Rate, actions
from driveout.money import bookings as book
from driveout.money.journal import Entry, balances, checked
from driveout.store import Store
from driveout.units import Money
from tests.conftest import Clock
from tests.money.judges import cents_off
from tests.money.story import usd

DAY = datetime.date(2026, 5, 4)


def eur(amount: str) -> Money:
    return Money.of(amount, "EUR")


def rate(per_unit: str = "1.08", **changes: object) -> Rate:
    given: dict = {"of": "EUR", "into": "USD", "per_unit": Decimal(per_unit), "day": DAY, "source": "card"}
    return Rate(**(given | changes))


def one_for(entry: Entry) -> Entry:
    return checked(entry)


def test_a_receipt_abroad_is_cost_in_the_cars_currency_and_leaves_the_bank_in_the_paid_one() -> None:
    entry = book.receipt("Car-1", "parts", usd("108"), "Clutch kit", DAY)
    sums = balances([one_for(book.in_other_currency(entry, eur("100"), rate()))])

    assert sums["Assets:WIP:Car-1:Parts", "USD"] == 10800
    assert sums["Assets:Bank", "EUR"] == -10000
    assert ("Assets:Bank", "USD") not in sums


# Bought 100 EUR at 1.05, spent them at 1.08: 100 x (1.08 - 1.05) = 3.00 won. Average cost of two purchases,
# 100 at 1.00 and 100 at 1.10, is 1.05; half of them spent at 1.05 wins nothing. Arithmetic by hand.
@pytest.mark.parametrize(
    ("bought", "spent", "per_unit", "won"),
    [
        ([("105", "100")], "100", "1.08", 300),
        ([("108", "100")], "100", "1.05", -300),
        ([("105", "100")], "50", "1.08", 150),
        ([("100", "100"), ("110", "100")], "100", "1.05", 0),
        ([], "100", "1.08", 0),
        ([("52.50", "50")], "100", "1.08", 150),
    ],
)
def test_money_changed_before_wins_or_loses_against_its_average_cost(
    bought: list, spent: str, per_unit: str, won: int
) -> None:
    entries: list[Entry] = []

    def held() -> book.Held:
        sums = balances(entries)
        account = book.exchange_account("EUR", "USD")
        return book.Held(
            Money(-sums.get((account, "EUR"), 0), "EUR"), Money(sums.get((account, "USD"), 0), "USD")
        )

    for gave, got in bought:
        entries.append(one_for(book.exchanged(usd(gave), eur(got), DAY, base="USD", held=held())))
    cost = rate(per_unit).convert(eur(spent))
    receipt = book.receipt("Car-1", "parts", cost, "Pads", DAY)
    entries.append(one_for(book.in_other_currency(receipt, eur(spent), rate(per_unit), held())))
    sums = balances(entries)

    gained = -sums.get(("Income:ExchangeGain", "USD"), 0) - sums.get(("Expenses:ExchangeLoss", "USD"), 0)
    assert gained == won
    assert held().amount.minor == sums["Assets:Bank", "EUR"]
    if not held().amount.minor:
        assert held().worth.minor == 0


def test_a_card_settled_later_at_another_rate_loses_the_difference() -> None:
    receipt = book.receipt("Car-1", "parts", usd("108"), "Pads", DAY)
    spent = one_for(book.in_other_currency(receipt, eur("100"), rate()))
    held = book.Held(eur("-100"), usd("-108"))
    settled = one_for(book.exchanged(usd("109.20"), eur("100"), DAY, base="USD", held=held))
    sums = balances([spent, settled])

    assert sums["Expenses:ExchangeLoss", "USD"] == 120
    assert sums["Assets:Bank", "EUR"] == 0
    assert sums[book.exchange_account("EUR", "USD"), "USD"] == 0


def test_yen_and_dinar_are_converted_with_their_own_decimals() -> None:
    yen = Rate("JPY", "USD", Decimal("0.0064"), DAY, "receipt")
    dinar = Rate("USD", "KWD", Decimal("0.3071"), DAY, "receipt")

    assert yen.convert(Money.of("25000", "JPY")) == usd("160")
    assert dinar.convert(usd("10")) == Money(3071, "KWD")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"per_unit": Decimal(0)}, "not usable"),
        ({"per_unit": Decimal("NaN")}, "not usable"),
        ({"per_unit": Decimal("0.12345678901")}, "not usable"),
        ({"source": " "}, "where the rate comes from"),
        ({"into": "EUR"}, "two currencies"),
        ({"of": "euro"}, "not a currency code"),
    ],
)
def test_a_rate_that_cannot_be_one_is_refused(changes: dict, words: str) -> None:
    with pytest.raises(BadEntry, match=words):
        rate(**changes)


def test_an_amount_that_does_not_fit_the_rate_is_refused() -> None:
    entry = book.receipt("Car-1", "parts", usd("107"), "Pads", DAY)
    with pytest.raises(BadEntry, match="but the entry moves"):
        book.in_other_currency(entry, eur("100"), rate())
    with pytest.raises(BadEntry, match="The rate is for EUR"):
        rate().convert(usd("1"))
    with pytest.raises(BadEntry, match="two steps"):
        book.exchanged(eur("1"), Money(100, "GBP"), DAY, base="USD")


def test_a_car_bought_mended_and_sold_over_the_border_agrees_with_three_programs(
    store: Store, clock: Clock, tmp_path: Path
) -> None:
    day, at = clock().date(), clock()
    with store.writing() as tx:
        car = add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=at, stage="viewing").id
        actions.exchange_money(
            tx, usd("1050"), eur("1000"), day, base="USD", rate_source="exchange office", at=at
        )
        with pytest.raises(BadEntry, match="Type the rate"):
            actions.book_purchase(tx, car, eur("900"), day, at=at)
        actions.book_purchase(tx, car, eur("900"), day, at=at, rate=rate("1.07"))
        actions.book_receipt(
            tx, car, "parts", eur("188.60"), "Clutch", "", day, at=at, core=eur("40"), rate=rate("1.08")
        )
        actions.book_sale(tx, car, eur("2000"), usd("15"), day, at=at, rate=rate("1.1"), buyer="R. Sorrel")
        entries = actions.every_entry(tx)
        cost = actions.cost_so_far(tx, car)
        held = actions.other_money(tx, "USD")
        year = actions.year_of(tx, day.year, "USD")
        said = [event.summary for event in trail_of(tx, car)]

    # 900 x 1.07 = 963.00; 148.60 x 1.08 = 160.488, with the core 203.69 - 43.20 = 160.49; 2000 x 1.1 = 2200.
    assert cost.cost_of_sale == usd("1123.49")
    assert cost.profit == usd("2200") - usd("1123.49") - usd("15")
    # 1000 - 900 - 188.60 + 2000 EUR
    assert [one.amount for one in held] == [eur("1911.40")]
    # Of the 1000 bought at 1.05, 900 went at 1.07 (18.00 won) and 100 at 1.08 (3.00 won, within a cent of
    # rounding); the 88.60 spent ahead at 1.08 came in at 1.10: 88.60 x 0.02 = 1.77 lost. 19.23 won in all.
    gained = {row.category: row.amount for row in year.rows if not row.car}
    assert gained["Gained on exchange"] == usd("21.00")
    assert gained["Lost on exchange"] == usd("-1.77")
    assert "Sold for 2,200.00 USD (2,000.00 EUR) to R. Sorrel" in said
    assert cents_off(entries, tmp_path) == {"beancount": 0, "hledger": 0, "ledger": 0}


def test_a_sale_in_another_currency_with_a_deposit_held_is_refused(store: Store, clock: Clock) -> None:
    day, at = clock().date(), clock()
    with store.writing() as tx:
        car = add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=at, stage="viewing").id
        actions.book_purchase(tx, car, usd("900"), day, at=at)
        actions.book_buyer_deposit(tx, car, eur("100"), "R. Sorrel", day, at=at, rate=rate())
        assert actions.deposits_held(tx, car) == usd("108")
        with pytest.raises(BadEntry, match="only the rest was paid"):
            actions.book_sale(tx, car, eur("2000"), None, day, at=at, rate=rate())
        with pytest.raises(BadEntry, match="kept in USD"):
            wrong = Rate("EUR", "GBP", Decimal("0.9"), DAY, "card")
            actions.book_sale(tx, car, eur("2000"), None, day, at=at, rate=wrong)
