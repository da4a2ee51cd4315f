"""The chapter Faults, as a person without JavaScript sees it, and the JSON interface."""

from __future__ import annotations

import re

import pytest
from starlette.testclient import TestClient

from driveout.cars.actions import add_car
from driveout.faults.actions import findings_of
from driveout.store import Store
from driveout.wear.actions import record_readings
from tests.conftest import Browser


@pytest.fixture
def car(store: Store) -> int:
    with store.writing() as tx:
        return add_car(
            tx,
            name="Linnet 1.4",
            currency="USD",
            at=store.now(),
            mileage_km=148_000,
            facts={"runs": "sick", "gearbox": "manual", "drive": "fwd"},
        ).id


def plain(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page[page.index("<main") :]))


def test_the_page_lists_faults_by_chance(browser: Browser, car: int) -> None:
    page = browser.get(f"/cars/{car}/faults")

    shown = [float(x) for x in re.findall(r'class="num">([\d.]+) %', page)]
    assert len(shown) > 70
    assert shown == sorted(shown, reverse=True)


def test_ten_faults_stand_open_and_the_rest_is_folded(browser: Browser, car: int) -> None:
    page = browser.get(f"/cars/{car}/faults")

    above = page[: page.index("The other 7")]
    assert len(re.findall(r'class="num">[\d.]+ %', above)) == 10


def test_a_reading_that_counts_stands_among_what_was_found(browser: Browser, store: Store, car: int) -> None:
    with store.writing() as tx:
        record_readings(tx, car, "engine", {"engine": {"dry": "1200 1190 1210 600 kPa"}}, at=store.now())

    assert "Compression test: very low" in plain(browser.get(f"/cars/{car}/faults"))


def test_a_check_is_found_by_a_misspelt_word(browser: Browser, car: int) -> None:
    page = browser.get(f"/cars/{car}/faults?find=cluch")

    assert "check=s_clutch_pedal" in page


def test_a_search_without_hits_says_so(browser: Browser, car: int) -> None:
    assert "No check has these words" in browser.get(f"/cars/{car}/faults?find=zzqqxx")


def test_a_check_shows_its_caution_before_the_buttons(browser: Browser, car: int) -> None:
    page = browser.get(f"/cars/{car}/faults?check=b_gas_in_coolant")

    assert "it scalds" in page
    assert page.index("it scalds") < page.index('name="outcome" value="yes"')


def test_a_recorded_result_moves_the_chance_and_says_why(browser: Browser, store: Store, car: int) -> None:
    page = browser.post(f"/cars/{car}/faults/finding", {"finding": "d_clutch_hold", "outcome": "yes"})

    words = plain(page)
    assert "For: Revs rise without speed in third gear: yes (strongly, odds" in words
    with store.reading() as tx:
        assert findings_of(tx, car)[0].outcome == "yes"


def test_a_graded_result_offers_all_its_outcomes(browser: Browser, car: int) -> None:
    page = browser.get(f"/cars/{car}/faults?check=b_compression")

    assert re.findall(r'name="outcome" value="([^"]+)"', page) == ["very low", "low", "even"]


def test_taking_back_moves_it_to_the_history(browser: Browser, store: Store, car: int) -> None:
    browser.post(f"/cars/{car}/faults/finding", {"finding": "d_clutch_hold", "outcome": "yes"})
    with store.reading() as tx:
        row = findings_of(tx, car)[0]

    page = browser.post(f"/cars/{car}/faults/take-back", {"row": row.id, "version": row.version})

    assert "Nothing yet." in page
    assert "Taken back or replaced (1)" in page


def test_what_taking_apart_proved_settles_the_fault(browser: Browser, car: int) -> None:
    page = browser.post(f"/cars/{car}/faults/proved", {"fault": "drv_clutch_worn", "is_there": "yes"})

    assert re.search(r"Clutch worn or contaminated</th><td class=\"num\">100 %", page)
    page = browser.post(
        f"/cars/{car}/faults/proved", {"fault": "eng_head_gasket", "is_there": "no"}, status=422
    )
    assert "competes with others" in page


def test_a_refused_result_keeps_the_note_that_was_typed(browser: Browser, car: int) -> None:
    page = browser.post(
        f"/cars/{car}/faults/finding",
        {"finding": "d_clutch_hold", "check": "d_clutch_hold", "outcome": "perhaps", "note": "slope, warm"},
        status=422,
    )

    assert "cannot be" in page
    assert "slope, warm" in page


def test_another_window_gets_a_conflict(browser: Browser, store: Store, car: int) -> None:
    browser.post(f"/cars/{car}/faults/finding", {"finding": "d_clutch_hold", "outcome": "yes"})
    with store.reading() as tx:
        row = findings_of(tx, car)[0]
    browser.post(f"/cars/{car}/faults/finding", {"finding": "d_clutch_hold", "outcome": "no"})

    page = browser.post(f"/cars/{car}/faults/take-back", {"row": row.id, "version": row.version}, status=409)

    assert "another window" in page


def test_the_knowledge_page_shows_every_number_and_its_origin(browser: Browser) -> None:
    page = browser.get("/knowledge")

    assert "Clutch worn or contaminated" in page
    assert page.count("common practice, no source") > 70


def test_own_changes_hold_for_every_car_and_a_broken_file_is_kept_in_the_form(
    browser: Browser, car: int
) -> None:
    own = "schema: driveout-pack/1\nfaults:\n  drv_clutch_worn: {name: Clutch tired}\n"

    page = browser.post("/knowledge", {"content": own, "name": "mine.yaml"})
    assert "In use: mine.yaml" in page
    assert "Clutch tired" in browser.get(f"/cars/{car}/faults")

    page = browser.post("/knowledge", {"content": own + "rubbish: 1\n", "name": "mine.yaml"}, status=422)
    assert "not a known key" in page
    assert "rubbish: 1" in page


def test_a_car_that_is_not_there_is_not_found(client: TestClient) -> None:
    assert client.get("/cars/999/faults").status_code == 404


def test_get_on_a_form_address_is_refused(client: TestClient, car: int) -> None:
    assert client.get(f"/cars/{car}/faults/finding").status_code == 405


def test_the_interface_answers_for_an_own_network(client: TestClient) -> None:
    network = {"causes": {"a": {"prior": 0.2}}, "findings": {"x": {"shows": {"a": 0.75}, "false_alarm": 0.2}}}

    answer = client.post("/api/posterior", json={"network": network, "evidence": {"x": "yes"}})

    assert answer.status_code == 200
    assert answer.json()["marginals"]["a"]["present"] == pytest.approx(0.5)


def test_the_interface_answers_for_the_pack_and_for_a_car(client: TestClient, car: int) -> None:
    asked = client.post(
        "/api/posterior", json={"runs": "dead", "evidence": {"say_seized": "yes"}, "silence": True}
    )
    of_car = client.get(f"/api/cars/{car}/posterior")

    assert asked.json()["faults"]["eng_seized"] > 0.3
    assert of_car.json()["evidence"] == {}


@pytest.mark.parametrize(
    "question",
    [
        {"evidence": {"say_clutc": "yes"}},
        {"runs": "fine"},
        {"network": {"causes": {"a": {"prior": 7}}}},
        {"own_pack": "schema: driveout-pack/1\nrubbish: 1\n"},
        {
            "network": {"causes": {"a": {"prior": 0.0}}, "findings": {"x": {"shows": {"a": 1}}}},
            "evidence": {"x": "yes"},
        },
    ],
)
def test_the_interface_refuses_in_the_one_error_shape(client: TestClient, question: dict) -> None:
    answer = client.post("/api/posterior", json=question)

    assert answer.status_code == 422
    assert answer.json()["error"]["message"]
