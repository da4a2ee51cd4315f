"""beancount, hledger and ledger judge the journal; each must also notice a one-cent slip."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from driveout.money import Posting, beancount_text, ledger_text, rates_of_return
from tests.money.judges import beancount_says, cents_off, hledger_says, ledger_says
from tests.money.story import car_story, random_history

AGREED = {"beancount": 0, "hledger": 0, "ledger": 0}


def test_three_programs_agree_to_the_cent_on_a_whole_car(tmp_path: Path) -> None:
    assert cents_off(car_story(), tmp_path) == AGREED


def test_three_programs_read_the_profit_of_the_car(tmp_path: Path) -> None:
    # 3390 + 25 - 1829.34 - 29.50 by hand.
    text = ledger_text(car_story())
    for sums in (
        beancount_says(beancount_text(car_story()))[0],
        hledger_says(text, tmp_path)[0],
        ledger_says(text, tmp_path)[0],
    ):
        profit = -sum(
            amount
            for (account, _), amount in sums.items()
            if account.endswith("Car-1") and account[0] in "IE" and not account.startswith("Equity")
        )

        assert profit == 155616


@pytest.mark.parametrize("place", [0, 7, 19])
def test_every_judge_notices_one_cent(place: int, tmp_path: Path) -> None:
    story = list(car_story())
    first, *rest = story[place].postings
    story[place] = replace(story[place], postings=(Posting(first.account, first.amount + 1, "USD"), *rest))

    assert any(
        "0.01 USD" in message for message in beancount_says(beancount_text(story, assertions=False))[1]
    )
    text = ledger_text(story, assertions=False)
    assert "could not balance" in hledger_says(text, tmp_path)[1]
    assert "balance" in ledger_says(text, tmp_path)[1]


def test_every_judge_notices_a_wrong_closing_balance(tmp_path: Path) -> None:
    bean = beancount_text(car_story()).replace("balance Assets:Bank  4445.66", "balance Assets:Bank  4445.65")
    text = ledger_text(car_story()).replace("= 4445.66 USD", "= 4445.65 USD")

    assert beancount_says(bean)[1]
    assert hledger_says(text, tmp_path)[1]
    assert ledger_says(text, tmp_path)[1]


@settings(
    max_examples=30,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)
@given(
    seed=st.integers(0, 2**32 - 1), currency=st.sampled_from(["USD", "JPY", "KWD"]), steps=st.integers(0, 40)
)
def test_three_programs_agree_on_random_histories(
    seed: int, currency: str, steps: int, tmp_path: Path
) -> None:
    assert cents_off(random_history(np.random.default_rng(seed), steps, currency), tmp_path) == AGREED


@pytest.mark.parametrize("seed", range(20))
def test_the_rate_of_one_outlay_and_later_receipts_is_where_another_solver_finds_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    times = [0.0, *np.sort(rng.uniform(0.05, 3.0, 5))]
    amounts = [-float(rng.uniform(500, 3000)), *rng.uniform(10, 900, 5)]

    def worth(rate: float) -> float:
        return math.fsum(a / (1 + rate) ** t for a, t in zip(amounts, times, strict=True))

    assert rates_of_return(times, amounts) == pytest.approx(
        (brentq(worth, -0.999, 5000.0, xtol=1e-13),), rel=1e-8
    )
