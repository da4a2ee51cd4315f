"""Writing an advert down, seeing what was read, putting it right, buying and letting go."""

from __future__ import annotations

import re
from typing import Any

import pytest
from starlette.testclient import TestClient

from driveout.cars.actions import get_car, list_cars, trail_of
from driveout.faults.actions import findings_of
from driveout.hunt import actions
from driveout.lessons.actions import frozen_estimate
from driveout.money.actions import cost_so_far
from driveout.outlook.actions import newest_point
from driveout.store import Store
from driveout.units import Money
from tests.conftest import Browser

TEXT = (
    "2013 Tarnwick Linnet 1.4, 92k miles. Clutch slips and it loses coolant, no rust. "
    "Ran when parked. Clean title in hand. $1,650 obo. Call 555-0142"
)
FACTS = {
    "name": "Linnet 1.4, Brackenford",
    "currency": "USD",
    "asking": "1650",
    "made_year": "2013",
    "mileage": "148000",
    "mileage_unit": "km",
    "title": "clean",
    "runs": "sick",
    "gearbox": "manual",
    "drive": "fwd",
    "turbo": "no",
    "value_low": "3900",
    "value_likely": "4400",
    "value_high": "4900",
    "place": "Brackenford",
    "distance_km": "35",
    "seller_name": "Odalys Quist",
    "seller_is_owner": "yes",
    "seller_has_title": "yes",
    "seller_is_trade": "no",
    "extras": "new battery, tow bar",
    "symptom": ["say_clutch:yes::Clutch slips", "say_loses_coolant:yes::loses coolant"],
}


def kept(browser: Browser, store: Store, **changes: Any) -> int:
    browser.post("/adverts", {**FACTS, **changes})
    with store.reading() as tx:
        return list_cars(tx)[0].id


def plain(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page[page.index("<main") :]))


def version_of(page: str) -> str:
    found = re.search(r'name="version" value="(\d+)"', page)
    assert found is not None
    return found[1]


def test_a_pasted_advert_is_shown_with_its_words_before_anything_is_kept(
    browser: Browser, store: Store
) -> None:
    page = browser.post("/adverts/read", {"text": TEXT, "currency": "USD"})

    assert "<mark>$1,650</mark>" in page
    assert "<mark>Clutch slips</mark>" in page
    assert "148,060" in page
    assert "Ran when parked" in page
    assert 'value="1650.00"' in page
    with store.reading() as tx:
        assert list_cars(tx) == []


def test_two_prices_are_asked_about(browser: Browser) -> None:
    page = browser.post(
        "/adverts/read",
        {"text": "2008 Linnet 160,000 miles. $1,900 or best offer.\n\nPrice: $1,650", "currency": "USD"},
    )

    assert "which is asked?" in page


@pytest.mark.parametrize("text", ["", "   ", "x" * 30_000])
def test_nothing_or_far_too_much_pasted_is_refused_and_stays_in_the_field(
    browser: Browser, text: str
) -> None:
    page = browser.post("/adverts/read", {"text": text, "currency": "USD"}, status=422)

    assert "Not done" in page
    assert text.strip() in page


def test_markup_in_an_advert_never_becomes_markup_of_the_page(browser: Browser, store: Store) -> None:
    nasty = "Linnet <img src=x onerror=alert(1)> &lt;script&gt;alert(2)&lt;/script&gt; $900 'x\" 2010"
    page = browser.post("/adverts/read", {"text": nasty, "currency": "USD"})
    car_id = kept(browser, store, text=nasty, name='<b>"bold"</b>', symptom=[])
    chapter = browser.get(f"/cars/{car_id}/advert")

    for shown in (page, chapter):
        assert "<img" not in shown
        assert "<script>alert" not in shown
        assert "<b>" not in shown


def test_a_kept_advert_is_a_car_with_facts_findings_and_its_words(browser: Browser, store: Store) -> None:
    car_id = kept(browser, store, text=TEXT)

    with store.reading() as tx:
        car = get_car(tx, car_id)
        found = {f.finding: f.outcome for f in findings_of(tx, car_id)}
        words = actions.words_of(tx, car_id)
        advert = actions.advert_of(tx, car_id)
    assert car.stage == "advert"
    assert car.facts["asking_minor"] == 165000
    assert car.facts["clean_value_minor"] == [390000, 440000, 490000]
    assert found == {"say_clutch": "yes", "say_loses_coolant": "yes"}
    assert words is not None
    assert words.original == TEXT
    assert advert.asking == Money(165000, "USD")
    assert advert.seller.name == "Odalys Quist"
    assert advert.extras == ("new battery", "tow bar")


def test_what_the_person_put_right_is_marked_as_not_so(browser: Browser, store: Store) -> None:
    car_id = kept(browser, store, text=TEXT, asking="1500", symptom=["say_clutch:yes::Clutch slips"])

    with store.reading() as tx:
        words = actions.words_of(tx, car_id)
    assert words is not None
    wrong = {(i["what"], str(i["value"])) for i in words.items if i.get("taken_out")}
    assert ("symptom", "say_loses_coolant") in wrong
    assert any(what == "asking" for what, _ in wrong)
    assert ("symptom", "say_clutch") not in wrong


def test_the_chapter_says_buy_or_walk_with_the_limit_of_the_outlook_strip(
    browser: Browser, store: Store
) -> None:
    car_id = kept(browser, store, text=TEXT)

    page = plain(browser.get(f"/cars/{car_id}/advert"))

    with store.reading() as tx:
        point = newest_point(tx, car_id)
    assert point is not None
    assert point.ceiling_minor is not None
    assert Money(point.ceiling_minor, "USD").text() in page
    assert "Buy or walk" in page
    assert "Clutch worn" in page


def test_the_same_car_weighed_by_page_and_by_json_gives_the_same_cents(
    browser: Browser, client: TestClient, store: Store
) -> None:
    car_id = kept(browser, store)
    with store.reading() as tx:
        weighing = actions.weighing_of(tx, car_id, with_swings=False)
        point = newest_point(tx, car_id)
    answer = client.post(
        "/api/weigh",
        json={
            "advert": {
                "asking": 1650,
                "made_year": 2013,
                "mileage": "148000 km",
                "title": "clean",
                "runs": "sick",
                "gearbox": "manual",
                "drive": "fwd",
                "is_turbo": False,
                "clean_value": [3900, 4400, 4900],
                "symptoms": ["say_clutch", "say_loses_coolant"],
                "distance": "35 km",
            }
        },
    )

    assert answer.status_code == 200, answer.text
    assert point is not None
    assert answer.json()["walk_away_minor"] == weighing.ceiling.money.minor == point.ceiling_minor


def test_without_a_value_of_the_clean_car_the_page_says_what_is_missing(
    browser: Browser, store: Store
) -> None:
    car_id = kept(browser, store, value_low="", value_likely="", value_high="")

    page = plain(browser.get(f"/cars/{car_id}/advert"))

    assert "Not to be said yet" in page
    assert "Type what such a car sells for without its faults" in page


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("asking", "-5", "outside what can be right"),
        ("asking", "lots", "not a number"),
        ("mileage", "9000000", "9,000,000 km is outside 0 to 2,500,000 km"),
        ("made_year", "2031", "outside what can be right"),
        ("value_likely", "99999", "do not rise"),
        ("runs", "perhaps", "is not offered"),
        ("symptom", "say_nothing:yes::", "say_nothing"),
        ("distance_km", "999999", "outside 0 to 20000 km"),
    ],
)
def test_a_bad_entry_is_refused_and_nothing_typed_is_lost(
    browser: Browser, store: Store, field: str, value: str, message: str
) -> None:
    page = browser.post("/adverts", {**FACTS, field: value}, status=422)

    assert message in page
    assert 'value="Odalys Quist"' in page
    with store.reading() as tx:
        assert list_cars(tx) == []


def test_one_tap_takes_out_what_was_read_wrongly(browser: Browser, store: Store) -> None:
    car_id = kept(browser, store, text=TEXT)
    with store.reading() as tx:
        words = actions.words_of(tx, car_id)
        before = newest_point(tx, car_id)
    assert words is not None
    index = next(k for k, i in enumerate(words.items) if i["value"] == "say_loses_coolant")

    browser.post(f"/cars/{car_id}/advert/item", {"item": index, "version": words.version})

    with store.reading() as tx:
        assert {f.finding for f in findings_of(tx, car_id)} == {"say_clutch"}
        after = newest_point(tx, car_id)
        corrected = actions.words_of(tx, car_id)
    assert corrected is not None
    assert corrected.items[index]["taken_out"] is True
    assert before is not None
    assert after is not None
    assert after.profit_mean_minor is not None
    assert before.profit_mean_minor is not None
    assert after.profit_mean_minor > before.profit_mean_minor


def test_one_tap_takes_the_other_reading(browser: Browser, store: Store) -> None:
    text = "2008 Linnet 160,000 miles. $1,900 or best offer.\n\nPrice: $1,650"
    car_id = kept(browser, store, text=text, asking="1900", symptom=[])
    with store.reading() as tx:
        words = actions.words_of(tx, car_id)
    assert words is not None
    index = next(k for k, i in enumerate(words.items) if i["what"] == "asking")
    first = words.items[index]["value"]["amount"]

    browser.post(f"/cars/{car_id}/advert/item", {"item": index, "version": words.version, "choose": 0})

    with store.reading() as tx:
        asking = actions.advert_of(tx, car_id).asking
    assert asking is not None
    assert str(asking.major) != first
    assert asking.minor in (190000, 165000)


def test_a_second_window_correcting_the_same_words_sees_a_conflict(browser: Browser, store: Store) -> None:
    car_id = kept(browser, store, text=TEXT)
    with store.reading() as tx:
        words = actions.words_of(tx, car_id)
    assert words is not None
    index = next(k for k, i in enumerate(words.items) if i["what"] == "made_year")
    browser.post(f"/cars/{car_id}/advert/item", {"item": index, "version": words.version})

    page = browser.post(f"/cars/{car_id}/advert/item", {"item": 0, "version": words.version}, status=409)

    assert "corrected in another window" in page


def test_facts_are_changed_with_a_check_of_the_version(browser: Browser, store: Store) -> None:
    car_id = kept(browser, store)
    old = version_of(browser.get(f"/cars/{car_id}/advert"))

    browser.post(f"/cars/{car_id}/advert/facts", {**FACTS, "asking": "1500", "version": old})

    with store.reading() as tx:
        assert actions.advert_of(tx, car_id).asking == Money(150000, "USD")
        assert findings_of(tx, car_id)
    page = browser.post(
        f"/cars/{car_id}/advert/facts", {**FACTS, "asking": "1400", "version": old}, status=409
    )
    assert "changed in another window" in page


def test_buying_freezes_the_estimate_books_the_price_and_moves_the_car_on(
    browser: Browser, store: Store
) -> None:
    car_id = kept(browser, store, asking="300")

    browser.post(f"/cars/{car_id}/advert/buy", {"price": "280", "day": "2026-05-04"})

    with store.reading() as tx:
        assert get_car(tx, car_id).stage == "bought"
        estimate = frozen_estimate(tx, car_id)
        assert cost_so_far(tx, car_id).by_kind["purchase"] == Money(28000, "USD")
    assert estimate is not None
    assert any(line.kind == "purchase" for line in estimate.lines)


def test_a_car_is_not_bought_twice_or_at_a_price_in_another_currency(browser: Browser, store: Store) -> None:
    car_id = kept(browser, store, asking="300")
    assert "is kept in USD" in browser.post(
        f"/cars/{car_id}/advert/buy", {"price": "280 EUR", "day": "2026-05-04"}, status=422
    )
    browser.post(f"/cars/{car_id}/advert/buy", {"price": "280", "day": "2026-05-04"})

    page = browser.post(f"/cars/{car_id}/advert/buy", {"price": "280", "day": "2026-05-04"}, status=422)

    assert "only a car that is not yet yours is bought" in page


def test_an_advert_let_go_keeps_its_reason_and_can_be_taken_up_again(browser: Browser, store: Store) -> None:
    car_id = kept(browser, store)
    assert "Reason is empty" in browser.post(f"/cars/{car_id}/advert/let-go", {"reason": " "}, status=422)

    browser.post(f"/cars/{car_id}/advert/let-go", {"reason": "title in a cousin's name"})

    with store.reading() as tx:
        assert get_car(tx, car_id).stage == "let go"
        assert any("cousin" in event.summary for event in trail_of(tx, car_id))
    browser.post(f"/cars/{car_id}/advert/again", {})
    with store.reading() as tx:
        assert get_car(tx, car_id).stage == "advert"


@pytest.mark.parametrize("path", ["/adverts/read", "/adverts", "/cars/1/advert/buy"])
def test_a_form_from_elsewhere_is_refused(client: TestClient, path: str) -> None:
    assert client.post(path, data={"text": "x"}).status_code in (403, 422)


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ({}, "Give either advert"),
        ({"advert": {"asking": -4}}, "outside 0 to"),
        ({"advert": {"asking": 4, "mileage": 5}}, "the unit must be km or mi"),
        ({"advert": {"asking": 4}}, "No value of the mended car is known"),
        ({"advert": {"asking": 4}, "clean_value": [5, 6]}, "one or three amounts"),
        ({"advert": {"asking": 4}, "clean_value": [5], "rules": {"wage": 3}}, "There is no rule"),
        ({"text": "x" * 300_000}, "understood"),
    ],
)
def test_the_json_door_refuses_with_the_one_error_shape(
    client: TestClient, body: dict[str, Any], message: str
) -> None:
    answer = client.post("/api/weigh", json=body)

    assert answer.status_code == 422
    assert message in answer.text
    assert set(answer.json()) == {"error"}


def test_the_json_door_reads_a_text_with_its_words(client: TestClient) -> None:
    data = client.post("/api/read-advert", json={"text": TEXT}).json()

    price = next(item for item in data["read"] if item["what"] == "asking")
    assert price["value"] == {"amount": "1650.00", "currency": "USD"}
    assert data["text"][price["start"] : price["end"]] == price["words"] == "$1,650"


def test_a_text_is_weighed_in_one_call(client: TestClient) -> None:
    data = client.post("/api/weigh", json={"text": TEXT, "clean_value": [3900, 4400, 4900]}).json()

    assert data["verdict"] in ("buy", "haggle", "walk")
    assert data["evidence"]["say_clutch"] == "yes"
    assert data["evidence"]["say_rust"] == "no"
