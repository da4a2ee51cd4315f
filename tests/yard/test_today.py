"""What fits into the hours at hand, in which order, and why the rest stays."""

from __future__ import annotations

import datetime

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.yard import (
    CarInWork,
    Chance,
    Change,
    Hours,
    Job,
    Reason,
    Standing,
    Stay,
    YardNow,
    affordable,
    bay_use,
    best_order,
    long_run,
    next_or_this,
    night_worth,
    run_forward,
    today_list,
    what_if,
)

DAY = datetime.date(2026, 5, 4)


def job(key: str, minutes: float, worth: float, **more: object) -> Job:
    return Job(key, 1, "Linnet", key, minutes, (Reason("", worth),), **more)  # type: ignore[arg-type]


def keys(jobs: list[Job], hours: Hours) -> list[str]:
    return [one.job.key for one in today_list(jobs, hours).placed]


def test_two_small_things_beat_one_large_thing_when_together_they_are_worth_more() -> None:
    jobs = [job("large", 60, 100), job("one", 30, 60), job("other", 30, 60)]

    assert sorted(keys(jobs, Hours(60))) == ["one", "other"]


def test_what_must_come_before_is_done_before_even_if_it_is_worth_nothing() -> None:
    jobs = [job("drain", 20, 0), job("swap", 30, 90, after=("drain",)), job("other", 50, 80)]

    assert keys(jobs, Hours(50)) == ["drain", "swap"]


def test_a_wait_is_started_first_so_that_it_runs_meanwhile() -> None:
    jobs = [job("brakes", 60, 200), job("prime", 30, 20, starts_wait_hours=12)]

    assert keys(jobs, Hours(120)) == ["prime", "brakes"]


def test_paint_comes_before_dark_and_the_lift_while_the_helper_is_here() -> None:
    jobs = [
        job("paint", 60, 10, needs=frozenset({"daylight"})),
        job("lift", 30, 10, needs=frozenset({"helper"})),
        job("wiring", 30, 500),
    ]

    assert keys(jobs, Hours(120, daylight=90, helper=30)) == ["lift", "paint", "wiring"]
    left = today_list(jobs, Hours(120, daylight=90)).left
    assert [one.job.key for one in left] == ["lift"]
    assert "the helper" in left[0].why


def test_a_thing_that_waits_for_a_part_stays_and_says_so() -> None:
    (left,) = today_list([job("fit", 30, 50, after=("the clutch kit",))], Hours(60)).left

    assert left.why == "waits for the clutch kit"


def test_with_time_to_spare_what_moves_no_money_is_done_too() -> None:
    assert keys([job("books", 20, 0)], Hours(60)) == ["books"]
    assert keys([job("books", 20, 0), job("brakes", 60, 5)], Hours(60)) == ["brakes"]


def test_no_hours_give_an_empty_list() -> None:
    assert keys([job("brakes", 60, 5)], Hours(0)) == []


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: Hours(-5), "do not fit into a day"),
        (lambda: job("x", 2000, 1), "cannot be done in a day"),
        (lambda: job("x", 20, 1, needs=frozenset({"moon"})), "not known here"),
        (lambda: today_list([job("x", 5, 1), job("x", 5, 1)], Hours(60)), "same key"),
        (
            lambda: today_list([job("x", 5, 1, after=("y",)), job("y", 5, 1, after=("x",))], Hours(60)),
            "wait for each other",
        ),
        (lambda: bay_use((), 0, DAY), "bays cannot be meant"),
        (lambda: long_run([Chance("A", 1, -1)], 0.5), "above 0"),
    ],
)
def test_what_cannot_be_meant_is_refused(make: object, match: str) -> None:
    with pytest.raises(BadEntry, match=match):
        make()  # type: ignore[operator]


def test_a_short_car_that_costs_as_much_a_day_is_finished_first() -> None:
    # Smith's rule: 5 / 10 a day and hour before 5 / 40.
    cars = [CarInWork(1, "long", 40, 5), CarInWork(2, "short", 10, 5)]

    assert [car.name for car in best_order(cars)] == ["short", "long"]


def test_a_cure_is_worth_a_days_cost_only_when_nothing_else_is_left_to_do() -> None:
    # 12 h of other work at 2 h a day are 6 days; a cure of one day then costs nothing.
    assert night_worth(10, 24, 12, 2) == 0
    assert night_worth(10, 24, 0, 2) == 10
    # 2 h are one day, a cure of 36 h is one and a half: all of the day is lost.
    assert night_worth(10, 36, 2, 2) == 10
    # 3 h are 1.5 days, the cure 1: half a day's slack.
    assert night_worth(10, 24, 3, 2) == pytest.approx(5)


def test_the_rate_of_the_next_project_is_the_one_worked_out_for_the_asking_plan() -> None:
    # One car after the other: 2600 in, 25 days of work, 12 a day to keep, half as many buyers for
    # every 500 more, 14 days at 5000. Computed two ways for docs/method/asking.md: 58.216 a day, ask 4776.74.
    asks = [4776.74 + 0.5 * n for n in range(-2000, 2001)]
    days = [14 * 2 ** ((ask - 5000) / 500) for ask in asks]
    policies = [
        Chance(f"{ask:.2f}", ask - 2600 - 12 * wait, 25 + wait) for ask, wait in zip(asks, days, strict=True)
    ]

    found = long_run(policies, 0.0)
    assert found.rate == pytest.approx(58.216, abs=0.0005)
    assert found.taken == ("4776.74",)


def test_nothing_to_choose_from_has_no_rate_and_losses_are_left() -> None:
    with pytest.raises(CannotSay, match="No car to choose from"):
        long_run([], 1.0)
    assert long_run([Chance("A", -5.0, 10.0)], 1.0) == long_run([Chance("B", 0.0, 1.0)], 1.0)


def test_a_car_is_finished_while_its_hours_bring_more_than_the_next_ones() -> None:
    assert next_or_this(600, 10, 50).finish_first
    assert not next_or_this(400, 10, 50).finish_first
    assert next_or_this(0, 0, 50).finish_first


def test_bays_tell_their_days_and_the_next_free_one() -> None:
    stays = [
        Stay(1, "Linnet", DAY - datetime.timedelta(20), DAY + datetime.timedelta(5)),
        Stay(2, "Pipit", DAY - datetime.timedelta(3), DAY + datetime.timedelta(30)),
        Stay(3, "Dunnock", DAY - datetime.timedelta(1), None),
    ]
    three, two = bay_use(stays, 3, DAY), bay_use(stays, 2, DAY)

    assert [bay.days_taken for bay in three.bays] == [20, 3, 1]
    assert three.next_free == DAY + datetime.timedelta(5)
    # The third waits outside for the first bay that comes free.
    assert [stay.name for stay in two.outside] == ["Dunnock"]
    assert two.next_free == DAY + datetime.timedelta(30)
    assert bay_use(stays[:1], 2, DAY).next_free == DAY
    assert bay_use(stays[2:], 1, DAY).next_free is None


LINNET = Standing(1, "Linnet", 2000, 300, 14, 10, 5)
PIPIT = Standing(2, "Pipit", 1000, 100, 7, 10, 5)


def test_the_yard_run_forward_by_hand() -> None:
    # One hour a day. Pipit first (5 / 7 before 5 / 14): done on day 7, sold on day 17; Linnet done on
    # day 21 and sold on day 31, 7 days later than alone: 35 less.
    found = run_forward(YardNow((LINNET, PIPIT), 7, 20, 2, 500))

    assert [(course.name, course.finished, course.sold) for course in found.courses] == [
        ("Pipit", 7, 17),
        ("Linnet", 21, 31),
    ]
    assert found.money == pytest.approx(2000 + 1000 - 35)
    # 500 - 100 today, - 300 on day 7: 100 is the least.
    assert found.lowest_cash == pytest.approx(100)
    assert found.lowest_on == 7
    assert found.bay_days == pytest.approx(48)
    assert found.per_hour == pytest.approx(2965 / 21)
    assert found.per_bay_day == pytest.approx((2965 - 20 * 21) / 48)


def test_more_hours_bring_sales_forward_and_one_car_less_leaves_more_cash() -> None:
    yard = YardNow((LINNET, PIPIT), 7, 20, 2, 500)
    more = what_if(yard, Change(hours_per_week=14))
    less = what_if(yard, Change(dropped=frozenset({1})))

    assert more.after.last_sale < more.before.last_sale
    assert more.after.money > more.before.money
    assert less.after.lowest_cash == 400
    assert less.after.money == pytest.approx(1000)


def test_a_car_to_buy_waits_for_a_bay_and_must_fit_the_purse() -> None:
    yard = YardNow((LINNET,), 7, 20, 1, 500)
    new = Standing(9, "Dunnock", 900, 800, 7, 5, 5, is_here=False)
    one, two = what_if(yard, Change(added=new)), what_if(yard, Change(added=new, bays=2))

    # With one bay it begins when the Linnet is sold on day 24; with two it is worked on first.
    assert [round(course.begins) for course in one.after.courses] == [0, 24]
    assert [course.name for course in two.after.courses] == ["Dunnock", "Linnet"]
    # Paid today: 1500 - 800, then 300 for the Linnet; 500 - 800 does not reach.
    assert affordable(YardNow((LINNET,), 7, 20, 2, 1500), new).lowest_after == pytest.approx(400)
    assert affordable(YardNow((LINNET,), 7, 20, 2, 1500), new, keep=400).fits
    assert not affordable(YardNow((LINNET,), 7, 20, 2, 1500), new, keep=401).fits
    assert not affordable(yard, new).fits


@pytest.mark.parametrize(("hours", "bays", "match"), [(0, 1, "hours per week"), (7, 0, "bays")])
def test_a_yard_that_cannot_be_is_refused(hours: float, bays: int, match: str) -> None:
    with pytest.raises(BadEntry, match=match):
        YardNow((LINNET,), hours, 20, bays, 500)
