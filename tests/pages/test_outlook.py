"""The strip, the page that opens it, the rules, and the same figures as data."""

import json
import re
from datetime import UTC, datetime
from typing import Any

import pytest
from starlette.testclient import TestClient

from driveout.cars.actions import add_car, change_stage
from driveout.errors import CannotSay, Conflict
from driveout.faults.actions import record_finding
from driveout.outlook import Rules, default_rules
from driveout.outlook.actions import (
    band_of,
    case_of,
    lines_of,
    newest_point,
    outlook_of,
    refresh,
    trail,
)
from driveout.outlook.pages import strip
from driveout.rules.actions import change_rules, rules_of
from driveout.store import Store

AT = datetime(2026, 5, 4, 18, 30, tzinfo=UTC)
FACTS: dict[str, Any] = {
    "asking_minor": 90_000,
    "clean_value_minor": [430_000, 490_000, 560_000],
    "runs": "sick",
    "title": "clean",
    "distance_km": 40.0,
    "gearbox": "manual",
    "drive": "fwd",
}


def a_car(store: Store, **facts: Any) -> int:
    with store.writing() as tx:
        return add_car(
            tx,
            name="Linnet 1.4",
            currency="USD",
            mileage_km=168_000,
            made_year=2013,
            facts={**FACTS, **facts},
            at=AT,
        ).id


def test_every_fact_that_moves_the_outlook_leaves_a_point_with_its_reason(store: Store) -> None:
    car = a_car(store)
    with store.writing() as tx:
        record_finding(tx, car, finding="d_clutch_hold", outcome="yes", at=AT)

    with store.reading() as tx:
        points = trail(tx, car)
    assert [p.reason.split(":")[0] for p in points] == ["Added", "Found"]
    assert points[1].profit_p50_minor is not None
    assert points[0].profit_p50_minor is not None
    assert points[1].profit_p50_minor < points[0].profit_p50_minor
    assert points[1].ceiling_minor is not None


def test_a_fact_that_says_nothing_new_leaves_no_point(store: Store) -> None:
    car = a_car(store)
    with store.writing() as tx:
        refresh(tx, car, "looked again", at=AT)
        assert len(trail(tx, car)) == 1


def test_incomplete_knowledge_is_said_and_never_raised(store: Store) -> None:
    car = a_car(store, clean_value_minor=None)
    with store.reading() as tx:
        point = newest_point(tx, car)
        assert point is not None
        assert not point.is_known
        assert "value of the mended car" in point.missing
        assert band_of(tx, car) is None
        assert "No outlook yet" in strip(tx, car)
        with pytest.raises(CannotSay, match="value"):
            outlook_of(tx, car)


def test_a_car_kept_in_another_currency_has_rules_of_its_own(store: Store) -> None:
    with store.writing() as tx:
        car = add_car(tx, name="Linnet", currency="JPY", facts={"clean_value_minor": [1, 2, 3]}, at=AT).id
    with store.reading() as tx:
        point = newest_point(tx, car)
    assert point is not None
    assert point.currency == "JPY"


def test_after_buying_no_walk_away_price_is_shown(store: Store) -> None:
    car = a_car(store)
    with store.writing() as tx:
        change_stage(tx, car, "bought", AT)

    with store.reading() as tx:
        point = newest_point(tx, car)
    assert point is not None
    assert point.ceiling_minor is None


def test_the_stored_point_holds_the_cents_of_the_outlook(store: Store) -> None:
    car = a_car(store)
    with store.reading() as tx:
        outlook, ceiling = outlook_of(tx, car)
        point = newest_point(tx, car)
        assert point is not None
        assert point.profit_p50_minor == round(outlook.profit.middle)
        assert point.ceiling_minor == ceiling.money.minor
        assert lines_of(tx, car, 70_000)[0].planned_money("USD").minor == 70_000
        assert case_of(tx, car).car.id == car


def test_two_windows_that_change_the_rules_conflict(store: Store) -> None:
    with store.writing() as tx:
        first = change_rules(tx, default_rules("USD"), version=0, at=AT)
    assert first.version == 1
    with pytest.raises(Conflict, match="another window"), store.writing() as tx:
        change_rules(tx, default_rules("USD"), version=0, at=AT)
    with store.writing() as tx:
        change_rules(tx, Rules(wage_per_hour=2000.0), version=1, at=AT)
        assert rules_of(tx, "USD").rules.wage_per_hour == 2000.0
        assert rules_of(tx, "EUR").version == 0


def test_the_page_opens_every_line_and_shows_how_the_band_moved(store: Store, client: TestClient) -> None:
    car = a_car(store)
    with store.writing() as tx:
        record_finding(tx, car, finding="d_clutch_hold", outcome="yes", at=AT)

    text = client.get(f"/cars/{car}/outlook").text

    assert "How this came about" in text
    assert "Sale of the mended car" in text
    assert "Walk away" in text
    assert text.count('role="img"') >= 4
    assert "Found: Revs rise" in text
    assert "<script" not in text.split("<main")[1]


def test_the_page_says_what_is_missing(store: Store, client: TestClient) -> None:
    car = a_car(store, clean_value_minor=None)

    assert "No outlook yet" in client.get(f"/cars/{car}/outlook").text


def test_a_name_with_markup_stays_text(store: Store, client: TestClient) -> None:
    with store.writing() as tx:
        car = add_car(tx, name="<b>Linnet</b>", currency="USD", facts=FACTS, at=AT).id

    assert "<b>Linnet" not in client.get(f"/cars/{car}/outlook").text


def test_an_unknown_car_is_not_there(client: TestClient) -> None:
    assert client.get("/cars/999/outlook").status_code == 404


def test_the_same_figures_come_as_data(store: Store, client: TestClient) -> None:
    car = a_car(store)
    data = client.get(f"/api/cars/{car}/outlook").json()

    with store.reading() as tx:
        point = newest_point(tx, car)
    assert point is not None
    assert data["walk_away_minor"] == point.ceiling_minor
    assert data["outlook"]["profit_minor"]["p50"] == point.profit_p50_minor
    assert len(data["trail"]) == 1


def test_an_own_case_is_answered_without_the_record(client: TestClient) -> None:
    body = {
        "schema": "driveout-car-case/1",
        "value": 1000,
        "chances": {"slip": 1.0},
        "costs": {"slip": {"money": 100}},
        "rules": {"chosen": ["wage"], "wage_per_hour": 0},
    }
    answer = client.post(
        "/api/outlook", content=json.dumps(body), headers={"content-type": "application/json"}
    )

    assert answer.status_code == 200, answer.text
    assert answer.json()["walk_away_minor"] == 90_000


def test_a_bad_own_case_is_refused_with_its_place(client: TestClient) -> None:
    answer = client.post(
        "/api/outlook",
        content=json.dumps({"schema": "driveout-car-case/1", "value": [3, 2, 1], "chances": {"a": 0.5}}),
        headers={"content-type": "application/json"},
    )

    assert answer.status_code == 422
    assert "value" in answer.json()["error"]["message"] + answer.json()["error"]["place"]


def fields_of(text: str) -> dict[str, str]:
    found = dict(re.findall(r'name="([^"]+)" type="[^"]+" value="([^"]*)"', text))
    hidden = dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', text))
    ticked = {name: "yes" for name in re.findall(r'type="checkbox" name="([^"]+)" value="yes" checked', text)}
    return {**found, **hidden, **ticked}


def test_rules_are_written_and_shown_again(store: Store, client: TestClient, browser: Any) -> None:
    shown = fields_of(client.get("/rules").text)
    shown |= {"wage_per_hour": "21.50", "rule_tail": "yes", "sale_costs_high": "333"}

    text = browser.post("/rules", {k: v for k, v in shown.items() if k not in ("csrf",)})

    with store.reading() as tx:
        kept = rules_of(tx, "USD")
    assert kept.rules.wage_per_hour == 2150
    assert "tail" in kept.rules.chosen
    assert kept.rules.sale_costs.high == 33_300
    assert 'value="21.5"' in text


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"wage_per_hour": "-3"}, "outside"),
        ({"loss_chance": "2"}, "loss_chance"),
        ({"sale_costs_low": "900"}, "out of order"),
    ],
)
def test_a_rule_that_cannot_be_is_refused_and_nothing_typed_is_lost(
    client: TestClient, browser: Any, changes: dict[str, str], words: str
) -> None:
    shown = fields_of(client.get("/rules").text) | {"holding_per_day": "7.25"} | changes

    text = browser.post("/rules", {k: v for k, v in shown.items() if k != "csrf"}, status=422)

    assert words in text
    assert 'value="7.25"' in text


def test_no_rule_ticked_is_refused(client: TestClient, browser: Any) -> None:
    shown = {
        k: v
        for k, v in fields_of(client.get("/rules").text).items()
        if not k.startswith("rule_") and k != "csrf"
    }

    assert "one or more" in browser.post("/rules", shown, status=422)
