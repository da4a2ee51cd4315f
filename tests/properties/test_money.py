"""What holds for every history of every garage."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.money import (
    Journal,
    balances,
    cash_moves,
    cost_of_car,
    journal_csv,
    journal_from_csv,
    journal_yaml,
    open_cores,
    read_journal,
    reversal,
)
from driveout.money.bookings import shares
from driveout.money.cash_ahead import Planned, cash_ahead
from driveout.money.journal import out_of_balance, reversed_number, under
from driveout.money.journal_file import merged
from driveout.units import Money
from tests.money.story import day, random_history

histories = st.builds(
    lambda seed, steps: random_history(np.random.default_rng(seed), steps),
    st.integers(0, 2**32 - 1),
    st.integers(0, 30),
)
brief = settings(max_examples=40, deadline=None)


@brief
@given(histories)
def test_every_entry_and_the_whole_journal_balance(history: tuple) -> None:
    for entry in history:
        assert not out_of_balance(entry.postings)
    for commodity in {unit for _, unit in balances(history)}:
        assert sum(amount for (_, unit), amount in balances(history).items() if unit == commodity) == 0


@brief
@given(histories)
def test_export_and_reload_keep_every_balance_and_importing_again_adds_nothing(history: tuple) -> None:
    again = read_journal(journal_yaml(Journal("USD", history)), "again.yaml")
    table = journal_from_csv(journal_csv(history).encode(), "again.csv", "USD")

    assert again.entries == history
    assert table.balances() == balances(history)
    assert merged(history, again.entries) == ()


@brief
@given(histories)
def test_change_of_bank_is_profit_less_what_is_still_tied_up(history: tuple) -> None:
    sums = balances(history)

    def of(account: str) -> int:
        return under(sums, account, "USD")

    profits = sum(cost_of_car(history, car, "USD").profit.minor for car in ("Car-1", "Car-2"))
    tied = sum(of(f"Assets:{name}") for name in ("WIP", "CoreDeposits", "Supplies", "Tools"))
    tied += of("Liabilities:Deposits")
    own = -of("Equity")

    # profit counts work in progress as spent, so it is added back before what is tied up is taken off.
    assert of("Assets:Bank") == profits + of("Assets:WIP") - tied + own


@brief
@given(histories)
def test_core_deposits_owed_are_never_below_zero_and_match_their_account(history: tuple) -> None:
    for car in ("Car-1", "Car-2"):
        owed = [core.owed.minor for core in open_cores(history, car, "USD")]

        assert all(amount > 0 for amount in owed)
        assert sum(owed) == cost_of_car(history, car, "USD").cores_owed.minor


@brief
@given(histories)
def test_cash_of_a_car_is_its_profit_less_deposits_still_open(history: tuple) -> None:
    sums = balances(history)
    for car in ("Car-1", "Car-2"):
        cost = cost_of_car(history, car, "USD")
        open_money = under(sums, f"Assets:CoreDeposits:{car}", "USD") + under(
            sums, f"Liabilities:Deposits:{car}", "USD"
        )

        moves = cash_moves(history, car, "USD")
        assert sum(move.amount.minor for move in moves) == cost.profit.minor - open_money


@brief
@given(histories, st.randoms(use_true_random=False))
def test_the_order_within_a_journal_does_not_change_balances(history: tuple, order: object) -> None:
    shuffled = list(history)
    order.shuffle(shuffled)  # type: ignore[attr-defined]

    assert balances(shuffled) == balances(history)


@brief
@given(histories, st.integers(0, 200))
def test_a_reversal_restores_what_was_before(history: tuple, pick: int) -> None:
    gone = {reversed_number(entry) for entry in history}
    entry = history[pick % len(history)]
    if entry.number in gone or reversed_number(entry):
        return
    back = replace(reversal(entry, entry.day, "slip"), number=len(history) + 1)
    without = balances([e for e in history if e is not entry])

    assert {k: v for k, v in balances([*history, back]).items() if v} == {
        k: v for k, v in without.items() if v
    }


@brief
@given(
    st.integers(0, 10**7),
    st.lists(st.decimals(min_value="0.01", max_value="50", places=2), min_size=1, max_size=6),
    st.decimals(min_value="0", max_value="50", places=2),
)
def test_shares_of_supplies_never_lose_a_cent(worth: int, taken: list[Decimal], rest: Decimal) -> None:
    by_car = {f"Car-{i}": quantity for i, quantity in enumerate(taken)}
    parts = shares(Money(worth, "USD"), sum(taken, rest), by_car)
    total = sum(part.minor for part in parts.values())

    assert 0 <= total <= worth
    if rest == 0:
        assert total == worth
    for car, part in parts.items():
        exact = worth * by_car[car] / sum(taken, rest)
        assert abs(part.minor - exact) < 1


@brief
@given(
    st.integers(-5000, 5000),
    st.lists(st.tuples(st.integers(-3, 9), st.integers(-3000, 3000).filter(bool)), max_size=12),
)
def test_the_lowest_cash_is_the_least_of_every_evening_and_midday(
    opening: int, moves: list[tuple[int, int]]
) -> None:
    ahead = cash_ahead(
        Money(opening, "USD"), [Planned(day(d), Money(amount, "USD"), "x") for d, amount in moves], day(0)
    )
    # By another route: cash of a midday is all earlier moves and all that goes out that day.
    midday = [
        opening
        + sum(a for d, a in moves if max(d, 0) < t)
        + sum(a for d, a in moves if max(d, 0) == t and a < 0)
        for t in range(10)
    ]
    assert ahead.lowest.minor == min(opening, *midday)
    if ahead.rows:
        assert ahead.rows[-1].after.minor == opening + sum(amount for _, amount in moves)
