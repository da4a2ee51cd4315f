"""The outlook over a car's life: usual faults once, lines that add up, clocks and reopened cars."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from driveout.cars.actions import add_car, note_event
from driveout.demo.actions import linnet, usd
from driveout.errors import BadEntry, CannotSay
from driveout.faults.actions import evidence_of, posterior_of, record_finding
from driveout.hunt.actions import buy
from driveout.lessons.actions import close_car, reopen_car
from driveout.market.actions import add_one, appraise_car
from driveout.money.actions import book_hours, book_receipt
from driveout.outlook.actions import (
    OwnWays,
    ahead,
    case_of,
    endings,
    must_be_true,
    newest_point,
    note_delay,
    own_ways,
    set_own_ways,
    trail,
)
from driveout.outlook.forecast import Forecast
from driveout.repairs.actions import choose_repair
from driveout.selling.actions import sell_car
from driveout.store import Store
from driveout.workshop.actions import every_work, start_timer, stop_timer

AT = datetime(2026, 3, 20, 9, tzinfo=UTC)


def plain_car(store: Store, **facts: object) -> int:
    """A car of which nothing is found, valued by comparables of average cars."""
    with store.writing() as tx:
        car = add_car(
            tx,
            name="Linnet",
            currency="USD",
            mileage_km=150_000,
            made_year=2013,
            facts={"runs": "runner", **facts},
            at=AT,
        ).id
        for price, km in (("4900", "150000"), ("5200", "139000"), ("4700", "161000"), ("5000", "149000")):
            add_one(tx, car, {"price": price, "mileage_km": km, "made_year": "2013"}, at=AT)
        appraise_car(tx, car, at=AT)
    return car


def bought(store: Store) -> int:
    with store.writing() as tx:
        car = linnet(tx, AT)
    with store.writing() as tx:
        buy(tx, car, usd("1200"), at=AT + timedelta(days=1))
        choose_repair(tx, car, "rep_clutch_fwd", "new", at=AT + timedelta(days=1))
    return car


def test_an_average_car_of_which_nothing_is_found_has_no_discount_for_faults(store: Store) -> None:
    car = plain_car(store)
    with store.reading() as tx:
        made = Forecast(case_of(tx, car).case)
    lines = made.outlook().lines
    faults = sum(line.profit_mean for line in lines if line.kind in ("fault", "shared"))
    usual = [line for line in lines if line.kind == "usual"]

    assert faults < -10_000.0
    assert len(usual) == 1
    assert usual[0].profit_mean + faults == pytest.approx(0.0, abs=0.5)


def test_with_the_way_out_left_aside_hours_for_usual_faults_are_charged_once_too(store: Store) -> None:
    car = plain_car(store)
    with store.reading() as tx:
        case = case_of(tx, car).case
    made = Forecast(case)
    fees = [line for line in made.outlook().lines if line.kind == "always"]
    cash = sum(line.profit_mean for line in fees)
    hours = sum(line.hours_mean for line in fees)

    wanted = made.resale.mean + cash - case.rules.wage_per_hour * hours
    assert made.charged.mended_mean == pytest.approx(wanted, abs=1.0)


def test_a_fault_that_is_found_counts_beyond_what_is_usual_and_a_sound_part_counts_for_it(
    store: Store,
) -> None:
    car = plain_car(store)
    with store.writing() as tx:
        record_finding(tx, car, finding="say_head_gasket", outcome="yes", at=AT)
    with store.reading() as tx:
        points = trail(tx, car)

    assert points[-1].profit_mean_minor is not None
    assert points[-2].profit_mean_minor is not None
    assert points[-1].profit_mean_minor < points[-2].profit_mean_minor


def test_a_typed_value_without_faults_needs_no_such_line(store: Store) -> None:
    with store.writing() as tx:
        car = linnet(tx, AT)
    with store.reading() as tx:
        case = case_of(tx, car).case

    assert case.usual == (0.0, 0.0)


def test_lines_add_up_to_mean_and_spread_after_every_booking(store: Store) -> None:
    car = bought(store)
    with store.writing() as tx:
        day = AT + timedelta(days=9)
        book_receipt(
            tx, car, "parts", usd("142"), "Clutch kit", "Quillan", day.date(), at=day, line="rep_clutch_fwd"
        )
        book_hours(tx, car, "rep-clutch-fwd", 5.0, day, day=day.date(), line="rep_clutch_fwd")
        note_delay(tx, car, 10, "no light in the garage", at=day)
    with store.reading() as tx:
        outlook = Forecast(case_of(tx, car).case).outlook()

    assert sum(line.profit_mean for line in outlook.lines) == pytest.approx(outlook.profit.mean, abs=0.5)
    assert sum(line.hours_mean for line in outlook.lines) == pytest.approx(outlook.hours.mean, abs=1e-6)
    assert sum(line.variance_share for line in outlook.lines) == pytest.approx(1.0, abs=1e-9)
    assert any(line.kind == "days" for line in outlook.lines)


def test_faults_page_and_outlook_read_the_same_evidence(store: Store) -> None:
    with store.writing() as tx:
        car = add_car(
            tx,
            name="L",
            currency="USD",
            mileage_km=150_000,
            made_year=2013,
            at=AT,
            facts={
                "title": "salvage",
                "asking_minor": 90_000,
                "clean_value_minor": [430_000, 490_000, 560_000],
            },
        ).id
    with store.reading() as tx:
        evidence = evidence_of(tx, car)

        assert evidence["doc_brand"] == "present"
        assert case_of(tx, car).posterior.faults == posterior_of(tx, car).faults


def test_a_clock_set_back_keeps_the_trail_in_the_order_of_recording(store: Store) -> None:
    car = bought(store)
    with store.writing() as tx:
        note_delay(tx, car, 3, "rain", at=AT + timedelta(days=20))
    with store.writing() as tx:
        note_delay(tx, car, 9, "rain again, by a clock that was set back", at=AT - timedelta(days=400))
    with store.reading() as tx:
        points = trail(tx, car)
        case = case_of(tx, car).case

    assert [p.id for p in points] == sorted(p.id for p in points)
    assert "rain again" in points[-1].reason
    assert case.elapsed_days == 0.0


def test_a_timer_over_a_change_of_the_clocks_or_a_clock_set_back_books_no_hour_under_zero(
    store: Store,
) -> None:
    car = bought(store)
    with store.reading() as tx:
        job = every_work(tx, car)[0].job.id
    # Clocks in Germany go forward on 2026-03-29 at 01:00 UTC; moments are kept in UTC, so an hour stays an hour.
    begun = datetime(2026, 3, 29, 0, 30, tzinfo=UTC)
    with store.writing() as tx:
        start_timer(tx, car, job, at=begun)
    with store.writing() as tx:
        assert stop_timer(tx, car, job, at=begun + timedelta(hours=1)) == pytest.approx(1.0)
    with store.writing() as tx:
        start_timer(tx, car, job, at=begun + timedelta(hours=5))
    with store.writing() as tx:
        assert stop_timer(tx, car, job, at=begun + timedelta(hours=3)) == 0.0


def test_a_sold_car_has_one_profit_and_a_reopened_one_moves_again(store: Store) -> None:
    car = bought(store)
    day = AT + timedelta(days=60)
    with store.writing() as tx:
        sell_car(tx, car, usd("5100"), at=day, fees=usd("20"), day=day.date(), buyer="R. Sorrel")
        close_car(tx, car, day)
    with store.reading() as tx:
        sold = newest_point(tx, car)
        with pytest.raises(CannotSay, match="only a car that is yours"):
            endings(tx, car)
    with store.writing() as tx:
        reopen_car(tx, car, "a receipt was found in the glove box", day)
        book_receipt(tx, car, "parts", usd("40"), "Hose", "Quillan", day.date(), at=day)
    with store.reading() as tx:
        later = newest_point(tx, car)

    assert sold is not None
    assert later is not None
    assert sold.profit_p10_minor == sold.profit_p90_minor
    assert sold.profit_p50_minor - (later.profit_p50_minor or 0) == 4000  # type: ignore[operator]


def test_own_figures_for_a_way_out_are_kept_and_used(store: Store) -> None:
    car = bought(store)
    with store.writing() as tx:
        set_own_ways(
            tx,
            car,
            OwnWays(as_it_stands=250_000.0, weight_kg=1100.0, scrap_per_kg=20.0, origin="asked the yard"),
            at=AT,
        )
    with store.reading() as tx:
        compared = endings(tx, car)
        keys = {one.key: one for one in compared.choices}

        assert own_ways(case_of(tx, car).car).origin == "asked the yard"
        assert keys["as it stands"].money.middle > 200_000.0
        assert keys["scrap"].money.middle == pytest.approx(22_000.0, rel=0.1)
        assert ahead(tx, car).hours.mean == pytest.approx(keys["go on"].hours.mean)
        assert {one.goal for one in must_be_true(tx, car)} == {"zero", "wage"}


@pytest.mark.parametrize("ways", [OwnWays(as_it_stands=-1.0), OwnWays(weight_kg=900.0)])
def test_figures_that_cannot_stand_are_refused(store: Store, ways: OwnWays) -> None:
    car = bought(store)
    with pytest.raises(BadEntry, match=r"cannot stand|both the weight"), store.writing() as tx:
        set_own_ways(tx, car, ways, at=AT)


@pytest.mark.parametrize(
    ("days", "why", "match"),
    [(0.0, "x", "delay of 0"), (400.0, "x", "delay of 400"), (3.0, " ", "what the delay")],
)
def test_a_delay_needs_days_and_a_reason(store: Store, days: float, why: str, match: str) -> None:
    car = bought(store)
    with pytest.raises(BadEntry, match=match), store.writing() as tx:
        note_delay(tx, car, days, why, at=AT)


def test_a_fact_that_moves_nothing_leaves_no_point(store: Store) -> None:
    car = bought(store)
    with store.reading() as tx:
        before = trail(tx, car)
    with store.writing() as tx:
        note_event(tx, car, "note", "Nothing of importance", {}, AT + timedelta(days=1))
    with store.reading() as tx:
        assert trail(tx, car) == before
