import numpy as np
import pytest

from driveout.errors import BadEntry
from driveout.hunt.bid import (
    Logistic,
    best_bid,
    bid_against_least_price,
    counter_ladder,
    least_price_from_asking,
    logistic_bid,
)
from driveout.uncertain import Bounded

SELLER = Logistic(1400.0, 80.0)


def test_the_search_finds_the_closed_form_when_the_seller_knows_nothing_more() -> None:
    bid = bid_against_least_price(1800.0, 500.0, SELLER, seller_knows=0.0)

    assert bid.amount == pytest.approx(logistic_bid(1800.0, 1400.0, 80.0), abs=1e-3)
    assert bid.lemons_term == 0.0


def test_against_a_uniform_least_price_one_offers_half_the_worth() -> None:
    bid = bid_against_least_price(600.0, 0.0, Bounded(0.0, 1000.0, 1.0, 1.0), seller_knows=0.0)

    assert bid.amount == pytest.approx(300.0, abs=1e-3)


def test_a_seller_who_knows_more_makes_the_offer_lower_and_the_car_worth_less() -> None:
    blind = bid_against_least_price(1800.0, 400.0, SELLER, seller_knows=0.0)
    wary = bid_against_least_price(1800.0, 400.0, SELLER, seller_knows=0.5)

    assert wary.lemons_term > 0
    assert wary.gain < blind.gain
    assert wary.worth_if_accepted < 1800.0


def test_the_lemons_term_is_that_of_normal_draws() -> None:
    rng = np.random.default_rng(5)
    scores = rng.standard_normal((2, 400_000))
    worth = 1800.0 + 400.0 * (0.5 * scores[0] + np.sqrt(0.75) * scores[1])
    from scipy.special import ndtr

    bid = bid_against_least_price(1800.0, 400.0, SELLER, seller_knows=0.5)
    accepted = ndtr(scores[0]) <= bid.chance

    assert bid.worth_if_accepted == pytest.approx(
        worth[accepted].mean(), abs=4 * 400 / np.sqrt(accepted.sum())
    )


def test_no_offer_goes_over_the_walk_away_price() -> None:
    assert bid_against_least_price(1800.0, 0.0, SELLER, seller_knows=0.0, most=1450.0).amount <= 1450.0


def test_when_nothing_can_be_gained_nothing_is_offered() -> None:
    assert bid_against_least_price(-50.0, 100.0, SELLER).amount == 0.0
    assert best_bid(lambda b: 0.5 * b, lambda b: b / 100.0, 0.0, 100.0).gain == 0.0


def test_the_closed_form_holds_when_the_worth_is_far_above() -> None:
    far = logistic_bid(100_000.0, 1400.0, 80.0)
    search = bid_against_least_price(100_000.0, 0.0, SELLER, seller_knows=0.0)

    assert far == pytest.approx(search.amount, rel=1e-4)


def test_a_ladder_of_one_step_is_the_single_offer() -> None:
    single = bid_against_least_price(1800.0, 0.0, SELLER, seller_knows=0.0)
    (step,) = counter_ladder(1800.0, 0.0, SELLER, steps=1, seller_knows=0.0)

    assert step.amount == pytest.approx(single.amount, abs=1800 / 800)
    assert step.gain == pytest.approx(single.gain, rel=1e-3)


def test_more_steps_start_lower_rise_and_gain_more() -> None:
    one = counter_ladder(1800.0, 0.0, SELLER, steps=1, stays=1.0, seller_knows=0.0)
    three = counter_ladder(1800.0, 0.0, SELLER, steps=3, stays=1.0, seller_knows=0.0)

    assert [b.amount for b in three] == sorted(b.amount for b in three)
    assert three[0].amount < one[0].amount
    assert sum(b.gain for b in three) > sum(b.gain for b in one)


def test_two_steps_are_the_best_of_all_pairs_of_offers() -> None:
    offers = np.linspace(0.0, 1800.0, 801)
    chance = SELLER.cdf(offers)
    first = chance * (1800.0 - offers)
    both = first[:, None] + 0.85 * (chance[None, :] - chance[:, None]) * (1800.0 - offers[None, :])
    best = both[np.triu_indices(offers.size)].max()

    ladder = counter_ladder(1800.0, 0.0, SELLER, steps=2, stays=0.85, seller_knows=0.0)

    assert sum(b.gain for b in ladder) == pytest.approx(best, rel=1e-6)


def test_a_refused_offer_and_a_named_price_bound_the_next_steps() -> None:
    ladder = counter_ladder(1800.0, 0.0, SELLER, refused=1400.0, asked=1600.0, seller_knows=0.0)

    assert all(1400.0 < b.amount <= 1600.0 for b in ladder)
    assert counter_ladder(1800.0, 0.0, SELLER, refused=1700.0, asked=1650.0) == ()


def test_impossible_beliefs_are_refused() -> None:
    with pytest.raises(BadEntry, match="spread"):
        Logistic(1000.0, 0.0)
    with pytest.raises(BadEntry, match="below 1"):
        bid_against_least_price(1800.0, 1.0, SELLER, seller_knows=1.0)
    with pytest.raises(BadEntry, match="1 step or more"):
        counter_ladder(1800.0, 1.0, SELLER, steps=0)


def test_the_asking_price_centres_the_belief_under_it() -> None:
    belief = least_price_from_asking(1000.0)

    assert float(belief.cdf(1000.0)) > 0.8
    assert belief.quantile(0.5) < 1000.0
