"""What a car costs, what is owed on it, and that a sale empties its work in progress."""

from __future__ import annotations

from decimal import Decimal

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.money import balances, cash_moves, cost_of_car, open_cores
from driveout.money import bookings as book
from driveout.money.car_cost import CashMove, entry_numbered, is_sold, lowest_cash, profit_of, refundable
from driveout.money.journal import reversal, take_back
from driveout.units import Money
from tests.money.story import CAR, Story, car_story, day, usd


def test_the_story_of_one_car_adds_up_by_hand() -> None:
    # By hand: 1450 + 35 + 33.50 (46.2 mi x 0.725 = 33.495) + 148.60 + 64.99 - 20 + 3.25 + 15 + 99 = 1829.34;
    # profit 3390 + 25 - 1829.34 - 29.50 = 1556.16.
    cost = cost_of_car(car_story(), CAR, "USD")

    assert cost.cost_of_sale == usd("1829.34")
    assert cost.profit == usd("1556.16")
    assert profit_of(cost) == usd("1556.16")
    assert cost.work_in_progress == usd("0")
    assert cost.minutes == 295
    assert cost.hours == pytest.approx(295 / 60)


def test_cash_of_a_car_adds_up_to_its_profit() -> None:
    moves = cash_moves(car_story(), CAR, "USD")

    assert sum(move.amount.minor for move in moves) == 155616


def a_receipt_with_core() -> Story:
    story = Story()
    story.book(book.receipt(CAR, "parts", usd("188.60"), "Clutch kit", day(0), core=usd("40")))
    return story


def test_a_core_deposit_is_owed_and_no_cost() -> None:
    story = a_receipt_with_core()
    cost = cost_of_car(story.entries, CAR, "USD")

    assert cost.total_cost == usd("148.60")
    assert [core.owed for core in open_cores(story.entries, CAR, "USD")] == [usd("40")]


def test_a_core_handed_in_in_part_makes_the_rest_part_cost() -> None:
    story = a_receipt_with_core()
    story.book(book.core_settled(CAR, story.entries[0], usd("40"), usd("25"), day(2)))
    cost = cost_of_car(story.entries, CAR, "USD")

    assert cost.by_kind["parts"] == usd("163.60")
    assert cost.cores_owed == usd("0")
    assert open_cores(story.entries, CAR, "USD") == ()


def test_a_core_given_up_is_part_cost() -> None:
    story = a_receipt_with_core()
    story.book(book.core_settled(CAR, story.entries[0], usd("40"), usd("0"), day(2)))

    assert cost_of_car(story.entries, CAR, "USD").total_cost == usd("188.60")


def test_reversing_a_return_opens_the_deposit_again() -> None:
    story = a_receipt_with_core()
    back = story.book(book.core_settled(CAR, story.entries[0], usd("40"), usd("40"), day(2)))
    story.book(reversal(back, day(3), "wrong shop"))

    assert [core.owed for core in open_cores(story.entries, CAR, "USD")] == [usd("40")]


def test_a_receipt_whose_core_came_back_is_not_taken_back_before_the_return() -> None:
    story = a_receipt_with_core()
    back = story.book(book.core_settled(CAR, story.entries[0], usd("40"), usd("40"), day(2)))
    with pytest.raises(BadEntry, match="leans on entry 1"):
        take_back(story.entries, 1, day(3), "wrong car")

    story.book(take_back(story.entries, back.number, day(3), "wrong car"))
    story.book(take_back(story.entries, 1, day(3), "wrong car"))

    assert set(balances(story.entries).values()) == {0}
    with pytest.raises(BadEntry, match="was taken back before"):
        take_back(story.entries, 1, day(3), "again")
    with pytest.raises(BadEntry, match="no entry 99"):
        take_back(story.entries, 99, day(3), "")


def test_more_than_the_deposit_cannot_come_back() -> None:
    story = a_receipt_with_core()
    with pytest.raises(BadEntry, match=r"outside 0 to 40\.00 USD"):
        book.core_settled(CAR, story.entries[0], usd("40"), usd("40.01"), day(2))
    with pytest.raises(BadEntry, match="No core deposit is open"):
        book.core_settled(CAR, story.entries[0], usd("0"), usd("0"), day(2))


def test_a_deposit_above_the_amount_paid_is_refused() -> None:
    with pytest.raises(BadEntry, match="core deposit"):
        book.receipt(CAR, "parts", usd("30"), "Alternator", day(0), core=usd("30.01"))


def test_a_refund_above_the_payment_is_refused_also_in_two_steps() -> None:
    story = a_receipt_with_core()
    kit = story.entries[0]
    story.book(
        book.refund(CAR, kit, refundable(story.entries, kit, "USD"), usd("100"), day(1), fee=usd("10"))
    )

    assert refundable(story.entries, kit, "USD") == usd("48.60")
    with pytest.raises(BadEntry, match=r"above the 48\.60 USD still paid"):
        book.refund(CAR, kit, refundable(story.entries, kit, "USD"), usd("48.61"), day(1))


def test_the_restocking_fee_stays_on_the_car() -> None:
    story = a_receipt_with_core()
    story.book(book.refund(CAR, story.entries[0], usd("148.60"), usd("148.60"), day(1), fee=usd("22.29")))
    cost = cost_of_car(story.entries, CAR, "USD")

    assert cost.by_kind["parts"] == usd("0")
    assert cost.by_kind["fees"] == usd("22.29")
    with pytest.raises(BadEntry, match="restocking fee"):
        book.refund(CAR, story.entries[0], usd("148.60"), usd("10"), day(1), fee=usd("10.01"))


def test_supplies_are_split_so_that_the_cents_add_up() -> None:
    taken = {"Car-1": Decimal("0.3"), "Car-2": Decimal("0.2"), "Car-3": Decimal("0.2")}
    parts = book.shares(usd("9.99"), Decimal("0.7"), taken)

    assert [part.minor for part in parts.values()] == [428, 286, 285]
    with pytest.raises(BadEntry, match="on the shelf"):
        book.shares(usd("9.99"), Decimal("0.6"), taken)
    with pytest.raises(BadEntry, match="above 0"):
        book.shares(usd("9.99"), Decimal("0.6"), {})


def test_a_sale_empties_every_account_of_the_car_in_progress() -> None:
    sums = balances(car_story())

    assert {amount for (account, _), amount in sums.items() if account.startswith("Assets:WIP:Car-1")} == {0}
    assert is_sold(car_story(), CAR)
    assert not is_sold(car_story()[:-1], CAR)


@pytest.mark.parametrize("price", ["0", "-5"])
def test_a_sale_for_nothing_is_refused(price: str) -> None:
    with pytest.raises(BadEntry, match="is not a sale"):
        book.sale(CAR, usd(price), {}, day(1))


def test_a_sale_in_another_currency_than_the_costs_is_refused() -> None:
    with pytest.raises(BadEntry, match="the sale is in EUR"):
        book.sale(CAR, Money(100, "EUR"), balances(a_receipt_with_core().entries), day(1))


def test_a_deposit_above_the_price_must_go_back_first() -> None:
    story = a_receipt_with_core()
    story.book(book.buyer_deposit(CAR, usd("300"), "R. Sorrel", day(1)))
    with pytest.raises(BadEntry, match="above the price"):
        book.sale(CAR, usd("299.99"), balances(story.entries), day(2))


def test_a_kept_deposit_is_income_of_the_car() -> None:
    story = a_receipt_with_core()
    story.book(book.buyer_deposit(CAR, usd("300"), "R. Sorrel", day(1)))
    story.book(book.deposit_back(CAR, usd("300"), usd("250"), day(2)))

    assert cost_of_car(story.entries, CAR, "USD").other_income == usd("50")
    with pytest.raises(BadEntry, match="deposit held"):
        book.deposit_back(CAR, usd("0"), usd("0"), day(2))


def test_a_part_exchange_becomes_stock_at_its_allowance() -> None:
    story = a_receipt_with_core()
    taken = book.PartExchange("Car-2", usd("600"))
    story.book(book.sale(CAR, usd("2000"), balances(story.entries), day(2), exchange=taken))

    assert cost_of_car(story.entries, "Car-2", "USD").by_kind["purchase"] == usd("600")
    assert cost_of_car(story.entries, CAR, "USD").profit == usd("1851.40")


def test_a_late_receipt_lowers_the_profit_and_leaves_no_work_in_progress() -> None:
    story = Story()
    story.book(book.purchase(CAR, usd("1000"), day(0)))
    story.book(book.sale(CAR, usd("2000"), balances(story.entries), day(2)))
    story.book(book.receipt(CAR, "outside", usd("60"), "Made good a squeal", day(5), sold=True))
    cost = cost_of_car(story.entries, CAR, "USD")

    assert cost.work_in_progress == usd("0")
    assert cost.profit == usd("940")


def test_scrap_without_a_buyer_takes_all_cost_off_the_books() -> None:
    story = a_receipt_with_core()
    story.book(book.scrapped(CAR, usd("120"), balances(story.entries), day(3)))

    assert cost_of_car(story.entries, CAR, "USD").profit == usd("-28.60")
    assert cost_of_car(story.entries, CAR, "USD").work_in_progress == usd("0")


def test_a_car_not_sold_has_no_profit_yet() -> None:
    with pytest.raises(CannotSay, match="not sold yet"):
        profit_of(cost_of_car(a_receipt_with_core().entries, CAR, "USD"))


def test_money_exchanged_balances_in_both_currencies() -> None:
    story = Story()
    story.book(book.exchanged(usd("108"), Money(10000, "EUR"), day(0)))

    assert balances(story.entries)["Assets:Bank", "EUR"] == 10000
    with pytest.raises(BadEntry, match="two currencies"):
        book.exchanged(usd("1"), usd("1"), day(0))


def test_the_lowest_cash_point_is_found_whatever_the_order() -> None:
    moves = [CashMove(day(9), usd("3000")), CashMove(day(3), usd("-900")), CashMove(day(1), usd("-200"))]

    assert lowest_cash(usd("1000"), moves) == (day(3), usd("-100"))
    assert lowest_cash(usd("1000"), moves[:1]) == (None, usd("1000"))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: book.receipt(CAR, "parts", usd("0"), "x", day(0)), "above 0"),
        (lambda: book.receipt(CAR, "sundry", usd("1"), "x", day(0)), "not a kind of cost"),
        (lambda: book.receipt(CAR, "parts", usd("1"), "x", day(0), quantity=Decimal(0)), "quantity"),
        (lambda: book.purchase(CAR, usd("-1"), day(0)), "above 0"),
        (lambda: book.own_hours(CAR, 0, "clutch", day(0)), "outside 0 to 24 h"),
        (lambda: book.own_hours(CAR, 24 * 60 + 1, "clutch", day(0)), "outside 0 to 24 h"),
        (lambda: book.travel(CAR, 10, "FT", day(0)), "not KM or MI"),
        (lambda: book.travel(CAR, 0, "KM", day(0)), "outside 0 to 10,000"),
        (lambda: book.supplies_bought(usd("1"), "x", day(0), Decimal(0), "l"), "quantity"),
        (
            lambda: book.core_bill(usd("1"), usd("1"), Decimal(7), core_taxed=True, tax_refunded=True),
            "0 to 1",
        ),
        (lambda: entry_numbered((), 5), "no entry 5"),
    ],
)
def test_entries_that_make_no_sense_are_refused_with_what_is_allowed(make: object, words: str) -> None:
    with pytest.raises(BadEntry, match=words):
        make()  # type: ignore[operator]
