"""The loop: what is seen and what is hidden stay apart, money adds up, seeds repeat, rates are two routes' rates."""

from __future__ import annotations

import ast
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from scipy.optimize import brentq

import driveout.simulate
from driveout.errors import BadEntry
from driveout.simulate.play import Years, play
from driveout.simulate.seen import SeenAdvert
from driveout.simulate.ways import (
    WAYS,
    Mind,
    SaleSoFar,
    Way,
    after_stripping,
    answer,
    ask_now,
    named,
    next_check,
)
from driveout.simulate.world import (
    WORLDS,
    HiddenCar,
    Stream,
    World,
    stream,
    true_hours,
    true_money,
    world_named,
)
from driveout.yard import Chance, long_run

FOLDER = Path(driveout.simulate.__file__).parent
CHEAP = ("half-of-resale", "fixed-margin")


@pytest.fixture(scope="module")
def met() -> Stream:
    return stream(World(), 11, 0, 500)


@pytest.fixture(scope="module")
def by_rule(met: Stream) -> Years:
    return play(met, WAYS["half-of-resale"], 4)


@pytest.fixture(scope="module")
def by_driveout(met: Stream) -> Years:
    return play(met, WAYS["driveout"], 2)


def test_the_same_seed_gives_the_same_stream_and_another_another(met: Stream) -> None:
    again, other = stream(World(), 11, 0, 500), stream(World(), 12, 0, 500)

    assert [again.advert(n) for n in range(40)] == [met.advert(n) for n in range(40)]
    assert [again.car(n) for n in range(40)] == [met.car(n) for n in range(40)]
    assert other.advert(0) != met.advert(0)


def test_a_longer_stream_begins_with_the_shorter_one(met: Stream) -> None:
    shorter = stream(World(), 11, 0, 50)

    assert met.days[:50] == shorter.days
    assert all(met.car(n) == shorter.car(n) for n in range(50))


def test_two_worlds_of_one_seed_differ_only_in_what_their_numbers_say() -> None:
    plain, sharp = stream(World(), 4, 1, 40), stream(replace(World(), seller_mean=0.1), 4, 1, 40)

    assert all(plain.car(n).faults == sharp.car(n).faults for n in range(40))
    assert all(sharp.car(n).least_price > plain.car(n).least_price for n in range(40))


def test_playing_one_way_changes_nothing_for_the_next(met: Stream, by_rule: Years) -> None:
    play(met, WAYS["fixed-margin"], 2)

    assert play(met, WAYS["half-of-resale"], 4) == by_rule


def overturned(met: Stream, change: Callable[[int, HiddenCar], HiddenCar]) -> Stream:
    """The same adverts with other hidden cars behind them."""
    return Stream(met.owner, met.days, lambda n: (met.advert(n), change(n, met.car(n))))


@pytest.mark.parametrize("module", ["ways", "beliefs", "seen"])
def test_what_decides_cannot_reach_the_hidden_truth(module: str) -> None:
    tree = ast.parse((FOLDER / f"{module}.py").read_text())
    imported = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module}

    hidden = {
        "driveout.simulate.world",
        "driveout.simulate.play",
        "driveout.simulate.truth",
        "driveout.simulate",
    }
    assert not imported & hidden


@pytest.mark.parametrize("key", ["half-of-resale", "driveout"])
def test_hidden_truth_of_what_was_not_bought_changes_nothing(
    met: Stream, by_rule: Years, by_driveout: Years, key: str
) -> None:
    """Everything about the other cars but what a viewing meets (price, still there, checks) is overturned."""
    played = by_rule if key == "half-of-resale" else by_driveout
    bought = {car.number for car in played.cars}

    def change(number: int, car: HiddenCar) -> HiddenCar:
        if number in bought:
            return car
        return replace(
            car, value=1.0, faults=(), losses=dict.fromkeys(car.losses, 0.9), buyers=(),
            hours_luck=dict.fromkeys(car.hours_luck, 3.0),
        )  # fmt: skip

    assert play(overturned(met, change), WAYS[key], len(played.cars)) == played


@pytest.mark.parametrize("key", ["half-of-resale", "driveout"])
def test_checks_that_were_not_done_do_not_speak(
    met: Stream, by_rule: Years, by_driveout: Years, key: str
) -> None:
    """The bought car's undone checks would show something else: the purchase and its price stay."""
    played = by_rule if key == "half-of-resale" else by_driveout
    first = played.cars[0]
    done = dict(first.found)

    def change(number: int, car: HiddenCar) -> HiddenCar:
        if number != first.number:
            return car
        return replace(car, shows={f: label if f in done else "yes" for f, label in car.shows.items()})

    again = play(overturned(met, change), WAYS[key], 1)

    assert again.cars[0].flows == first.flows


def test_the_least_price_stays_the_sellers_secret(met: Stream, by_rule: Years) -> None:
    """What the owner would have paid at most does not move with the seller's least price."""
    first = by_rule.cars[0]

    def change(number: int, car: HiddenCar) -> HiddenCar:
        return replace(car, least_price=car.least_price - 50.0) if number == first.number else car

    again = play(overturned(met, change), WAYS["half-of-resale"], 1)

    assert again.cars[0].number == first.number
    assert again.cars[0].most == first.most


def test_money_is_conserved(met: Stream, by_rule: Years) -> None:
    """Profit from outside in: sale less price, repairs at their true cost, and the named small sums."""
    for finished, car in enumerate(by_rule.cars):
        truth, advert = met.car(car.number), met.advert(car.number)
        flow = {one.what: one.amount for one in car.flows}
        assert truth.least_price <= -flow["price"] <= advert.asking
        repairs = math.fsum(true_money(met.owner, truth, fault) for fault in car.mended)
        small = flow["search and checks"] + flow["papers and fetching"] + flow["preparing and advert"]
        outside = flow["sale"] + flow["price"] - repairs + small + flow["holding"]

        assert car.profit == pytest.approx(outside, abs=1e-9)
        assert {*car.mended, *car.left} == {*truth.faults}
        work = math.fsum(true_hours(met.owner, truth, fault, finished) for fault in car.mended)
        assert car.hours > work
        assert flow["holding"] == pytest.approx(-2.5 * (car.sold_on - car.bought_on))


def test_the_calendar_has_no_gap_and_no_overlap(by_rule: Years) -> None:
    free = 0.0
    for car in by_rule.cars:
        assert free <= car.bought_on < car.sold_on
        assert car.days == pytest.approx(car.sold_on + 1.0 - free)
        free = car.sold_on + 1.0


def test_the_rate_of_a_life_is_the_same_by_two_routes(by_rule: Years) -> None:
    """Renewal reward: profit over time, and the rate at which what is charged for time eats all profit."""
    direct = by_rule.profit / by_rule.days
    root = brentq(lambda g: sum(car.profit - g * car.days for car in by_rule.cars), -1e4, 1e4, xtol=1e-10)
    worth_it = [Chance(str(car.number), car.profit, car.days) for car in by_rule.cars]

    assert direct == pytest.approx(root, abs=1e-6)
    # Free to leave cars out and looking for nothing, no rate is better than that of the best car.
    assert long_run(worth_it, 0.0).rate == pytest.approx(
        max(c.profit / c.days for c in by_rule.cars), abs=1e-6
    )


def test_driveout_buys_below_its_walk_away_price(by_driveout: Years) -> None:
    for car in by_driveout.cars:
        paid = next(-flow.amount for flow in car.flows if flow.what == "price")

        assert paid <= car.most + 1e-9


def an_advert(**changes: object) -> SeenAdvert:
    return replace(SeenAdvert(0, 0.0, 4600.0, 2000.0, (), 20.0), **changes)  # type: ignore[arg-type]


def test_a_fixed_list_of_checks_is_done_in_order_and_then_ends() -> None:
    way = replace(WAYS["half-of-resale"], checks="quick")
    done: tuple[str, ...] = ()
    while (check := next_check(way, Mind(), an_advert(), (), done)) is not None:
        done = (*done, check)

    assert done == ("s_codes", "s_misfire", "d_clutch_hold", "u_rust_probe")


def test_a_brake_that_makes_the_car_unsafe_is_mended_by_whoever_sells_it() -> None:
    decided = after_stripping(WAYS["driveout"], Mind(), 6500.0, ("brk_front_worn", "eng_misfire"))

    assert decided.end == "sell"
    assert "brk_front_worn" in decided.mend


def test_a_hopeless_car_is_let_go_by_driveout_and_finished_by_the_rule() -> None:
    faults = ("bod_rust_structural", "eng_head_gasket", "eng_low_compression", "drv_synchro")

    assert after_stripping(WAYS["driveout"], Mind(), 3200.0, faults).end != "sell"
    assert after_stripping(WAYS["half-of-resale"], Mind(), 3200.0, faults).mend == faults


def test_the_fixed_rule_cuts_each_fortnight_and_driveout_never_raises() -> None:
    rule = WAYS["half-of-resale"]
    asks = [ask_now(rule, Mind(), 4000.0, SaleSoFar(week)).ask for week in range(6)]
    assert asks[0] == asks[1]
    assert asks[2] == pytest.approx((1 - rule.cut) * float(asks[0] or 0))

    sale, before = SaleSoFar(), math.inf
    for week in range(10):
        ask = ask_now(WAYS["driveout"], Mind(), 4000.0, sale).ask
        if ask is None:
            break
        assert ask <= before + 1e-6
        sale, before = SaleSoFar(week + 1, 0, 5.0 * (week + 1), ask), ask


def test_an_offer_at_the_ask_is_taken_and_a_low_one_is_not() -> None:
    way = WAYS["driveout"]
    asked = ask_now(way, Mind(), 4000.0, SaleSoFar())
    assert asked.ask is not None

    assert answer(way, 4000.0, asked, asked.ask) == "accept"
    assert answer(way, 4000.0, asked, 0.5 * asked.ask) == "counter"


def test_unknown_names_are_refused() -> None:
    with pytest.raises(BadEntry, match="no way of deciding"):
        named("coin")
    with pytest.raises(BadEntry, match="no world"):
        world_named("elsewhere")
    with pytest.raises(BadEntry, match="no rule for the price"):
        play(stream(World(), 1, 0, 5), replace(WAYS["half-of-resale"], price="by feel"), 1)


def test_worlds_against_the_model_are_among_those_shipped() -> None:
    assert {"chances wrong", "skill drifts", "price-sensitive buyers", "sharp sellers"} <= set(WORLDS)


def test_without_adverts_there_are_no_cars(met: Stream) -> None:
    assert play(Stream(met.owner, (), met._draw), Way("driveout"), 3).cars == ()
