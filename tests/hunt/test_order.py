import itertools

import numpy as np
import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.hunt.order import (
    Trip,
    day_round,
    expected_disappointment,
    look_index,
    own_wage,
    prize,
    round_gain,
    shrunk,
    visiting_order,
)


def random_trips(rng: np.random.Generator, count: int) -> list[Trip]:
    trips = []
    for k in range(count):
        size = int(rng.integers(1, 4))
        mass = rng.dirichlet(np.ones(size))
        trips.append(
            Trip(f"car {k}", tuple(rng.uniform(-300, 900, size)), tuple(mass), float(rng.uniform(1, 60)), 2.0)
        )
    return trips


def best_of_every_rule(trips: list[Trip], in_hand: float) -> float:
    """Go on or stop, and to which car, worked back from the end over all states."""
    if not trips:
        return in_hand
    best = in_hand
    for k, trip in enumerate(trips):
        rest = trips[:k] + trips[k + 1 :]
        go = sum(
            p * best_of_every_rule(rest, max(in_hand, v))
            for v, p in zip(trip.amounts, trip.chances, strict=True)
        )
        best = max(best, go - trip.cost)
    return best


@pytest.mark.parametrize("seed", range(12))
def test_the_order_is_worth_as_much_as_the_best_of_every_rule(seed: int) -> None:
    rng = np.random.default_rng(seed)
    trips = random_trips(rng, 4)

    assert visiting_order(trips).gain == pytest.approx(best_of_every_rule(trips, 0.0), abs=1e-9)


def test_the_index_is_where_the_gain_of_going_on_is_just_its_cost() -> None:
    rng = np.random.default_rng(40)
    for _ in range(50):
        values, mass = rng.uniform(-100, 500, 5), rng.dirichlet(np.ones(5))
        cost = float(rng.uniform(0.1, 200))
        z = look_index(tuple(values), tuple(mass), cost)

        assert float(mass @ np.maximum(values - z, 0.0)) == pytest.approx(cost)


def test_free_looking_has_the_greatest_amount_as_its_index() -> None:
    assert look_index((10.0, 90.0, 400.0), (0.5, 0.5, 0.0), 0.0) == 90.0


def test_a_day_takes_the_best_set_that_fits() -> None:
    trips = random_trips(np.random.default_rng(7), 5)
    chosen = day_round(trips, 4.0)
    every = max(
        (visiting_order(some).gain for n in range(3) for some in itertools.combinations(trips, n)),
        default=0.0,
    )

    assert chosen.hours <= 4.0
    assert chosen.gain == pytest.approx(every)
    assert day_round(trips, 0.0).trips == ()


def test_a_sum_in_hand_leaves_out_cars_under_it() -> None:
    trips = random_trips(np.random.default_rng(8), 4)

    assert visiting_order(trips, 10_000.0).trips == ()
    assert round_gain(trips, 10_000.0) == pytest.approx(10_000.0)


def test_a_normal_prize_keeps_mean_and_nearly_all_spread() -> None:
    amounts, mass = prize(100.0, 300.0)

    assert np.dot(amounts, mass) == pytest.approx(100.0)
    assert np.sqrt(np.dot(np.square(amounts), mass) - 100.0**2) == pytest.approx(300.0, rel=0.01)
    assert prize(50.0, 0.0) == ((50.0,), (1.0,))


def test_the_own_wage_leaves_nothing_to_gain() -> None:
    rng = np.random.default_rng(9)
    x, h = rng.normal(500, 600, 5000), rng.uniform(10, 90, 5000)
    g = own_wage(x, h, 3.0)

    assert np.maximum(x - g * h, 0.0).mean() == pytest.approx(g * 3.0, rel=1e-9)


def test_no_profit_anywhere_means_no_wage() -> None:
    with pytest.raises(CannotSay, match="no hour earns"):
        own_wage([-5.0], [3.0], 1.0)
    with pytest.raises(BadEntry, match="Looking takes"):
        own_wage([5.0], [3.0], 0.0)


def test_shrinking_removes_the_disappointment() -> None:
    rng = np.random.default_rng(10)
    truth = rng.normal(1000.0, 300.0, 4000).reshape(400, 10)
    seen = truth + rng.normal(0.0, 400.0, truth.shape)
    raw, calm = [], []
    for values, real in zip(seen, truth, strict=True):
        pulled = shrunk(tuple(values), (400.0,) * 10)
        raw.append(values.max() - real[values.argmax()])
        calm.append(max(pulled) - real[int(np.argmax(pulled))])

    assert np.mean(raw) > 300
    assert abs(np.mean(calm)) < 0.35 * np.mean(raw)


def test_a_sharp_estimate_keeps_its_place_and_equal_ones_stay_equal() -> None:
    assert shrunk((1.0, 5.0), (1.0, 1.0)) == (1.0, 5.0)
    assert shrunk((1.0, 2.0, 9.0), (0.0, 0.0, 0.0)) == pytest.approx((1.0, 2.0, 9.0))
    assert shrunk((4.0, 4.0, 4.0), (2.0, 1.0, 3.0)) == pytest.approx((4.0, 4.0, 4.0))
    with pytest.raises(BadEntry, match="one error"):
        shrunk((1.0, 2.0), (1.0,))


def test_one_option_cannot_disappoint() -> None:
    assert expected_disappointment(1) == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(BadEntry, match="1 or more"):
        expected_disappointment(0)


def test_impossible_trips_are_refused() -> None:
    with pytest.raises(BadEntry, match="adding up to 1"):
        Trip("x", (1.0,), (0.5,), 1.0)
    with pytest.raises(BadEntry, match="0 or more"):
        Trip("x", (1.0,), (1.0,), -1.0)
    with pytest.raises(BadEntry, match="hours"):
        day_round([], -1.0)
