from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.hunt.bid import Logistic, bid_against_least_price, counter_ladder
from driveout.outlook import Case, CostBook, FaultChances, Mend, Piece, Rules, Salvage, ceiling_of, forecast
from driveout.uncertain import ThreePoint, fitted

chances = st.lists(st.floats(0.0, 1.0), min_size=1, max_size=5)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    given_chances = draw(chances)
    mends = []
    for k in range(len(given_chances)):
        low = draw(st.floats(5.0, 400.0))
        likely = low * draw(st.floats(1.0, 1.6))
        money = fitted(ThreePoint(low, likely, likely * draw(st.floats(1.3, 3.0))))
        opens = ("out",) if draw(st.booleans()) else ()
        mends.append(Mend(f"f{k}", f"F{k}", (Piece(f"f{k}", money, fitted(ThreePoint(1, 2, 6))),), opens))
    book = CostBook(
        mends=tuple(mends),
        access=(("out", Piece("Out", hours=fitted(ThreePoint(5, 8, 14)))),),
        always=(Piece("x", fitted(ThreePoint(10, 40, 90))),),
    )
    low = draw(st.floats(1500.0, 4000.0))
    rules = Rules(
        holding_per_day=draw(st.floats(0.0, 4.0)),
        wage_per_hour=draw(st.floats(0.0, 30.0)),
        loss_chance=draw(st.floats(0.05, 0.4)),
    )
    salvage = (Salvage("scrap it", draw(st.floats(0.0, 900.0))),) if draw(st.booleans()) else ()
    return Case(
        FaultChances.independent({f"f{k}": p for k, p in enumerate(given_chances)}),
        book,
        (low, low * draw(st.floats(1.05, 1.8))),
        rules,
        500.0,
        salvage,
    )


def with_rules(case: Case, **changes: Any) -> Case:
    return replace(case, rules=replace(case.rules, **changes))


@settings(max_examples=30, deadline=None)
@given(case=cases(), step=st.floats(0.01, 0.3))
def test_accepting_more_losses_never_lowers_the_walk_away_price(case: Case, step: float) -> None:
    bolder = min(case.rules.loss_chance + step, 0.95)
    low = ceiling_of(with_rules(case, chosen=("loss",)), points=512).price
    high = ceiling_of(with_rules(case, chosen=("loss",), loss_chance=bolder), points=512).price

    assert high >= low - 1e-6


@settings(max_examples=30, deadline=None)
@given(case=cases(), more=st.floats(0.5, 30.0))
def test_a_dearer_hour_never_raises_the_walk_away_price(case: Case, more: float) -> None:
    cheap = ceiling_of(with_rules(case, chosen=("wage", "certain")), points=512).price
    dear = ceiling_of(
        with_rules(case, chosen=("wage", "certain"), wage_per_hour=case.rules.wage_per_hour + more),
        points=512,
    ).price

    assert dear <= cheap + 0.5


@settings(max_examples=30, deadline=None)
@given(case=cases(), chance=st.floats(0.01, 1.0))
def test_one_more_fault_never_raises_the_walk_away_price(case: Case, chance: float) -> None:
    assert isinstance(case.chances, FaultChances)
    more = replace(
        case,
        chances=FaultChances.independent({**case.chances.of_fault, "extra": chance}),
        book=replace(
            case.book,
            mends=(
                *case.book.mends,
                Mend("extra", "Extra", (Piece("extra", fitted(ThreePoint(50, 80, 200))),), ("out",)),
            ),
        ),
    )
    before = ceiling_of(with_rules(case, chosen=("wage", "loss", "tail", "certain")), points=1024)
    after = ceiling_of(with_rules(more, chosen=("wage", "loss", "tail", "certain")), points=1024)

    for one, other in zip(before.rules, after.rules, strict=True):
        assert one.price is not None
        assert other.price is not None
        # the grid may be coarser with the extra fault; what it adds to the spread is under a step
        assert other.price <= one.price + 4.0


@settings(max_examples=30, deadline=None)
@given(case=cases())
def test_a_likelier_fault_never_raises_the_mean(case: Case) -> None:
    assert isinstance(case.chances, FaultChances)
    likelier = replace(case, chances=case.chances.with_odds("f0", 2.0))

    assert forecast(likelier, points=512).profit.mean <= forecast(case, points=512).profit.mean + 1e-6


@settings(max_examples=30, deadline=None)
@given(case=cases())
def test_lines_add_up_and_the_band_is_in_order(case: Case) -> None:
    outlook = forecast(case, points=512)

    assert sum(line.profit_mean for line in outlook.lines) == pytest.approx(outlook.profit.mean, abs=1e-3)
    assert outlook.profit.low <= outlook.profit.middle <= outlook.profit.high
    assert outlook.hours.low <= outlook.hours.middle <= outlook.hours.high
    assert 0.0 <= outlook.loss_chance <= 1.0


@settings(max_examples=30, deadline=None)
@given(case=cases(), gift=st.floats(1.0, 800.0))
def test_a_way_out_never_harms(case: Case, gift: float) -> None:
    without = forecast(replace(case, salvage=()), points=512)
    with_it = forecast(replace(case, salvage=(Salvage("scrap it", gift),)), points=512)

    assert with_it.profit.mean >= without.profit.mean - 1e-6
    assert with_it.profit.low >= without.profit.low - 1e-6


@settings(max_examples=40, deadline=None)
@given(
    worth=st.floats(200.0, 4000.0),
    centre=st.floats(200.0, 4000.0),
    knows=st.floats(0.0, 0.9),
    steps=st.integers(1, 4),
)
def test_offers_stay_under_the_worth_and_a_ladder_rises(
    worth: float, centre: float, knows: float, steps: int
) -> None:
    seller = Logistic(centre, 0.08 * centre)
    bid = bid_against_least_price(worth, 300.0, seller, seller_knows=knows)
    ladder = counter_ladder(worth, 300.0, seller, steps=steps, seller_knows=knows)

    assert bid.amount <= worth
    assert bid.gain >= 0.0
    assert all(a.amount < b.amount <= worth for a, b in pairwise(ladder))
