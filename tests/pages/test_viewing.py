"""The Viewing chapter: works, refuses bad entries without losing them, hands out and takes back the sheet."""

from __future__ import annotations

import base64
import json
import re

from starlette.testclient import TestClient

from driveout.faults.actions import findings_of
from driveout.store import Store
from driveout.viewing import actions
from tests.conftest import Browser
from tests.viewing import added


def test_the_page_names_the_next_check_with_its_worth_in_money(browser: Browser, store: Store) -> None:
    car = added(store)
    text = browser.get(f"/cars/{car}/viewing?checks=4")

    assert "Walk-away price now" in text
    assert re.search(r"Going on with the checks is worth [\d,.]+ USD", text)
    assert "What each check is worth alone" in text
    assert "Save the viewing sheet" in text


def test_the_same_car_gives_the_same_walk_away_price_here_and_in_its_outlook(store: Store) -> None:
    from driveout.outlook.actions import newest_point

    car = added(store)
    with store.reading() as tx:
        made = actions.plan_of(tx, car, kept=4)
        point = newest_point(tx, car)

    assert point is not None
    assert made.ceiling.money.minor == point.ceiling_minor
    assert abs(made.plan.plan.ceiling_without_checks - made.ceiling.price) < 0.01


def test_an_answer_is_recorded_and_the_next_check_is_another(browser: Browser, store: Store) -> None:
    car = added(store)
    with store.reading() as tx:
        first = actions.plan_of(tx, car, kept=4).check
    assert first is not None
    browser.post(
        f"/cars/{car}/viewing/found?checks=4",
        {"check": first.id, "outcome": ", ".join("no" for _ in first.findings), "note": "all dry"},
    )

    with store.reading() as tx:
        rows = [row for row in findings_of(tx, car) if row.origin == "check"]
        after = actions.plan_of(tx, car, kept=4)
    assert {row.finding for row in rows} == set(first.findings)
    assert {row.note for row in rows} == {"all dry"}
    assert after.step != first.id


def test_a_wrong_tap_is_taken_back_from_the_next_page(browser: Browser, store: Store) -> None:
    car = added(store)
    with store.reading() as tx:
        plan = actions.plan_of(tx, car, kept=4)
        before = [(found.finding, found.outcome) for found in findings_of(tx, car)]
    assert plan.check is not None
    assert len(plan.check.findings) == 1
    outcome = plan.plan.plan.viewing.outcomes(plan.check)[0]

    text = browser.post(f"/cars/{car}/viewing/found?checks=4", {"check": plan.step, "outcome": outcome})
    way_back = text.split('<div class="done"')[1].split("</div>")[0]
    fields = dict(re.findall(r'name="(row|version)" value="(\d+)"', way_back))
    browser.post(re.findall(r'action="([^"]+)"', way_back)[0], fields)

    with store.reading() as tx:
        assert [(found.finding, found.outcome) for found in findings_of(tx, car)] == before


def test_an_outcome_that_is_not_offered_is_refused_and_the_note_kept(browser: Browser, store: Store) -> None:
    car = added(store)
    text = browser.post(
        f"/cars/{car}/viewing/found?checks=4",
        {"check": "b_gas_in_coolant", "outcome": "purple", "note": "kept words"},
        status=422,
    )

    assert "no outcome" in text
    with store.reading() as tx:
        assert not [row for row in findings_of(tx, car) if row.origin == "check"]


def test_a_price_that_is_no_price_is_refused_in_words(client: TestClient, store: Store) -> None:
    car = added(store)
    answer = client.get(f"/cars/{car}/viewing?price=cheap")

    assert answer.status_code == 422
    assert "cheap" in answer.text


def test_a_car_without_a_value_says_what_is_missing(browser: Browser, store: Store) -> None:
    from driveout.cars.actions import change_facts

    car = added(store)
    with store.writing() as tx:
        change_facts(tx, car, {"clean_value_minor": None}, at=store.now())

    assert "No plan can be made yet" in browser.get(f"/cars/{car}/viewing")


def test_the_sheet_is_one_file_that_names_no_address(client: TestClient, store: Store) -> None:
    car = added(store)
    answer = client.get(f"/cars/{car}/viewing/sheet.html?checks=4")

    assert answer.status_code == 200
    assert "attachment" in answer.headers["content-disposition"]
    assert "http" not in answer.text.replace("http-equiv", "")
    assert 'src="' not in answer.text
    plan = json.loads(re.search(r'id="plan">(.*?)</script>', answer.text, re.DOTALL)[1])  # type: ignore[index]
    assert plan["car_id"] == car
    assert plan["schema"] == "driveout-sheet/2"
    assert set(plan["lacking"]) <= set(plan["cards"]) == set(plan["plan"]["checks"]) & set(plan["cards"])


def test_a_name_with_markup_cannot_break_out_of_the_sheet(client: TestClient, store: Store) -> None:
    from driveout.cars.actions import change_facts

    car = added(store)
    with store.writing() as tx:
        change_facts(tx, car, {"name": "</script><script>alert(1)</script>"}, at=store.now())
    text = client.get(f"/cars/{car}/viewing/sheet.html?checks=3").text

    assert "<script>alert" not in text
    assert text.count("<script") == 2


def test_a_record_comes_home_as_text_and_as_a_file(browser: Browser, store: Store) -> None:
    car = added(store)
    record = {
        "schema": "driveout-record/1",
        "car_id": car,
        "car": "Tarnwick Linnet 1.4",
        "currency": "USD",
        "price": 550,
        "decision": "open",
        "notes": "parked on a slope",
        "steps": [{"check": "d_clutch_hold", "found": {"d_clutch_hold": "yes"}, "note": "third gear"}],
    }
    browser.post(f"/cars/{car}/viewing/record?checks=3", {"text": json.dumps(record)})
    picture = b"\xff\xd8\xff" + b"0" * 40
    address = "data:image/jpeg;base64," + base64.b64encode(picture).decode()
    record["photos"] = [{"check": "b_gas_in_coolant", "title": "Filler neck <cold>", "data": address}]
    record["steps"] = [{"check": "b_gas_in_coolant", "found": {"b_gas_in_coolant": "no"}, "note": ""}]
    page = browser.post(
        f"/cars/{car}/viewing/record?checks=3",
        {},
        files={"record": ("viewing-record.json", json.dumps(record).encode(), "application/json")},
    )

    with store.reading() as tx:
        found = {row.finding: row.outcome for row in findings_of(tx, car) if row.origin == "check"}
    assert found == {"d_clutch_hold": "yes", "b_gas_in_coolant": "no"}
    assert "Filler neck &lt;cold&gt;" in page
    source = re.search(rf"/cars/{car}/viewing/photo/[0-9a-f]+", page)
    assert source
    answer = browser.client.get(source[0])
    assert (answer.content, answer.headers["content-type"]) == (picture, "image/jpeg")
    assert browser.client.get(f"/cars/{car}/viewing/photo/{'0' * 64}").status_code == 404


def test_a_record_of_another_car_a_torn_one_and_an_unknown_finding_change_nothing(
    browser: Browser, store: Store
) -> None:
    car = added(store)
    good = {"schema": "driveout-record/1", "car_id": car, "steps": []}
    bad_step = {"check": "x", "found": {"no_such_finding": "yes"}}
    for text, complaint in (
        (json.dumps({**good, "car_id": car + 1}), "Hand it back on that car"),
        ('{"schema": "driveout-record/1", "car_id"', "no JSON"),
        (json.dumps({**good, "schema": "else/1"}), "expected"),
        (json.dumps({**good, "decision": "maybe"}), "not known"),
        (json.dumps({**good, "price": -4}), "cannot be meant"),
        (json.dumps({**good, "steps": [{"check": "x"}]}), "does not say what was found"),
        (
            json.dumps(
                {**good, "steps": [{"check": "d_clutch_hold", "found": {"d_clutch_hold": "yes"}}, bad_step]}
            ),
            "no_such_finding",
        ),
        ("", "No record was handed in"),
        (json.dumps({**good, "photos": [{"data": "data:text/html;base64,PHA+"}]}), "is no picture"),
    ):
        answer = browser.post(f"/cars/{car}/viewing/record?checks=3", {"text": text}, status=422)
        assert complaint in answer

    with store.reading() as tx:
        assert not [row for row in findings_of(tx, car) if row.origin == "check"]


def test_the_json_interface_gives_the_plan_and_decides_an_own_case(client: TestClient, store: Store) -> None:
    car = added(store)
    plan = client.get(f"/api/cars/{car}/viewing?checks=4").json()
    case = {
        "schema": "driveout-decision/1",
        "states": {"good": 0.7, "bad": 0.3},
        "actions": {
            "buy": {"worth": {"good": 2000, "bad": 1300}},
            "walk": {"worth": 0, "needs_seller": False},
        },
        "checks": {"test": {"cost": 50, "chances": {"good": {"pass": 0.8, "fail": 0.2}, "bad": {"pass": 0.35, "fail": 0.65}}}},
        "asking": 1500,
    }  # fmt: skip
    token = re.search(r'name="csrf" value="([^"]+)"', client.get("/adverts/new").text)
    assert token
    answer = client.post("/api/decide", json=case, headers={"X-CSRF-Token": token[1]})

    with store.reading() as tx:
        made = actions.plan_of(tx, car, kept=4)
    assert plan["walk_away_minor"] == made.ceiling.money.minor
    assert plan["walk_away_with_checks_minor"] == made.with_checks.minor
    assert plan["money_unit"] == "minor"
    assert plan["next"] in {*plan["planned"], "buy", "walk"}
    assert answer.status_code == 200
    assert round(answer.json()["value"], 6) == 290.0
    assert answer.json()["first_step"] == "buy"
