"""Which car to see first: order, day, own wage, and what is missing."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from driveout.cars.actions import change_facts, list_cars
from driveout.hunt.actions import order_of_viewings
from driveout.rules.actions import rules_of
from driveout.store import Store
from tests.conftest import Browser
from tests.pages.test_hunt import FACTS, plain


def keep(browser: Browser, *cars: tuple[str, str]) -> None:
    for name, asking in cars:
        browser.post("/adverts", {**FACTS, "name": name, "asking": asking, "symptom": []})


def test_the_cheaper_of_two_like_cars_is_seen_first(browser: Browser) -> None:
    keep(browser, ("Dear one", "1200"), ("Cheap one", "300"))

    page = plain(browser.get("/adverts/order?minutes=400"))

    assert "First: Cheap one" in page
    assert page.index("stop 1") < page.index("stop 2")
    assert "Weitzman" in page


def test_a_new_price_changes_the_order_at_once(browser: Browser, store: Store) -> None:
    keep(browser, ("Dear one", "1200"), ("Cheap one", "300"))
    assert "First: Cheap one" in plain(browser.get("/adverts/order?minutes=400"))

    with store.writing() as tx:
        change_facts(tx, 1, {"asking_minor": 10000}, at=store.now())

    assert "First: Dear one" in plain(browser.get("/adverts/order?minutes=400"))


def test_a_short_day_takes_fewer_cars_and_a_shorter_one_none(browser: Browser, store: Store) -> None:
    keep(browser, ("Dear one", "1200"), ("Cheap one", "300"))
    # 35 km both ways at 50 km/h and 1.5 h of looking: 2.9 h = 174 min a car.
    with store.reading() as tx:
        rounds = [
            [v.name for v in order_of_viewings(tx, minutes=m).round] for m in (173.0, 174.0, 347.0, 348.0)
        ]

    assert rounds == [[], ["Cheap one"], ["Cheap one"], ["Cheap one", "Dear one"]]
    assert "None fits into 60 min" in plain(browser.get("/adverts/order?minutes=60"))


def test_a_car_that_brings_nothing_at_its_price_is_not_worth_the_way(browser: Browser) -> None:
    keep(browser, ("Far too dear", "9000"))

    page = plain(browser.get("/adverts/order"))

    assert "Stay at home at these prices" in page
    assert "Not worth the way" in page


def test_a_car_without_a_value_or_a_price_is_listed_with_what_is_missing(
    browser: Browser, store: Store
) -> None:
    keep(browser, ("No price", ""))
    browser.post(
        "/adverts", {**FACTS, "name": "No value", "value_low": "", "value_likely": "", "value_high": ""}
    )

    page = plain(browser.get("/adverts/order"))

    assert "No price has no price" in page
    assert "No value of the mended car is known" in page
    with store.reading() as tx:
        assert {one.name for one in order_of_viewings(tx, minutes=240.0).left_out} == {"No price", "No value"}


def test_a_car_let_go_is_not_in_the_order(browser: Browser, store: Store) -> None:
    keep(browser, ("Gone", "300"))
    with store.reading() as tx:
        car_id = list_cars(tx)[0].id
    browser.post(f"/cars/{car_id}/advert/let-go", {"reason": "sold"})

    assert "No advert to compare yet" in plain(browser.get("/adverts/order"))


@pytest.mark.parametrize("minutes", ["-1", "1441", "soon", "1e9"])
def test_minutes_that_no_day_has_are_refused_beside_the_field(client: TestClient, minutes: str) -> None:
    answer = client.get("/adverts/order", params={"minutes": minutes})

    assert answer.status_code == 422
    assert 'id="wrong-minutes"' in answer.text
    assert f'value="{minutes}"' in answer.text


def test_four_adverts_do_not_say_what_an_own_hour_brings(browser: Browser) -> None:
    keep(browser, *((f"Car {k}", f"{300 + 100 * k}") for k in range(4)))

    page = plain(browser.get("/adverts/order"))

    assert "needs 5 at least" in page
    assert "Take it as my wage" not in page


def test_the_own_wage_is_written_on_the_persons_tap_alone(browser: Browser, store: Store) -> None:
    keep(browser, *((f"Car {k}", "300") for k in range(5)))
    with store.reading() as tx:
        order = order_of_viewings(tx, minutes=240.0)
        before = rules_of(tx).rules
    assert order.wage is not None
    assert order.rule_wage is not None

    assert "Take it as my wage" in browser.get("/adverts/order")
    with store.reading() as tx:
        assert rules_of(tx).rules == before
    fields = {"wage": str(order.wage.major), "currency": "USD", "version": 0}
    browser.post("/adverts/order/wage", fields)

    with store.reading() as tx:
        assert rules_of(tx).rules.wage_per_hour == order.wage.minor
    assert "Not done" in browser.post("/adverts/order/wage", fields, status=409)


def test_for_like_adverts_the_own_wage_is_profit_by_all_hours(browser: Browser, store: Store) -> None:
    # All adverts the same: each is taken, so the rate is X / (H + t), the renewal reward by hand.
    keep(browser, *((f"Car {k}", "300") for k in range(5)))
    from driveout.hunt.actions import weighing_of

    with store.reading() as tx:
        order = order_of_viewings(tx, minutes=240.0)
        outlook = weighing_of(tx, order.visits[0].car, with_swings=False).outlook
    assert order.wage is not None

    assert order.wage.minor == pytest.approx(outlook.profit.mean / (outlook.hours.mean + 2.9), abs=1)


def test_the_json_door_gives_the_same_order_as_the_record(
    browser: Browser, client: TestClient, store: Store
) -> None:
    keep(browser, ("Dear one", "1200"), ("Cheap one", "300"))

    data = client.get("/api/order", params={"minutes": 174}).json()

    assert [v["name"] for v in data["visits"]] == ["Cheap one", "Dear one"]
    assert data["round"]["cars"] == [data["visits"][0]["car"]]
    assert client.get("/api/order", params={"minutes": -1}).status_code == 422
