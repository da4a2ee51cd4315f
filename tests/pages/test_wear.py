"""The chapter Wear in a browser without JavaScript."""

from __future__ import annotations

import re

import pytest

from driveout.cars.actions import add_car, trail_of
from driveout.errors import BadEntry, Conflict
from driveout.store import Store
from driveout.wear import actions
from tests.conftest import Browser

CORNERS = ("front-left", "front-right", "rear-left", "rear-right")
PANELS = (
    "bonnet",
    "roof",
    "tailgate",
    "left-wing",
    "right-wing",
    "left-front-door",
    "right-front-door",
    "left-rear-door",
    "right-rear-door",
    "left-quarter",
    "right-quarter",
    "left-sill",
)
GOOD = {
    "pad_inner": "8",
    "pad_outer": "8.5",
    "tread_inner": "6",
    "tread_middle": "6",
    "tread_outer": "6",
    "date_code": "3522",
}


@pytest.fixture
def car(store: Store) -> int:
    with store.writing() as tx:
        return add_car(
            tx,
            name="Tarnwick Linnet 1.4",
            currency="USD",
            at=store.now(),
            made_year=2013,
            mileage_km=141_000,
            vin="1G4AH59H45G1I8341",
        ).id


def words(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html[html.index("<main") :]))


def test_a_whole_corner_goes_on_one_form_and_leads_to_the_next(browser: Browser, car: int) -> None:
    html = browser.post(f"/cars/{car}/wear/corner/front-left", {**GOOD, "then": "next"})

    assert "Corner: brake, tyre, wheel: front right" in html
    assert "Pads front left, thinner one: 8.00 mm (0.315 in), holds" in words(
        browser.get(f"/cars/{car}/wear")
    )


def test_four_corners_twelve_panels_and_a_compression_test_change_findings(
    browser: Browser, store: Store, car: int
) -> None:
    fields = 0
    for corner in CORNERS:
        entries = GOOD | ({"pad_inner": "1.2", "tread_inner": "2.5"} if corner == "front-left" else {})
        fields += len(entries)
        browser.post(f"/cars/{car}/wear/corner/{corner}", entries)
    films = {f"{panel}.film": "108 112" for panel in PANELS} | {"right-quarter.film": "250 340"}
    fields += len(films)
    browser.post(f"/cars/{car}/wear/paint", films)
    browser.post(f"/cars/{car}/wear/engine", {"dry": "170 165 120 168 psi", "wet": "3:150 psi"})
    with store.reading() as tx:
        evidence = actions.evidence(tx, car)
        repairs = actions.car_report(tx, car, store.now().date()).repairs

    assert fields + 2 == 38  # fields to fill in, and six buttons, for the whole round
    assert evidence["w_brake_visual"] == "worn"
    assert evidence["w_tyre_pattern"] == "yes"
    assert evidence["w_paint_gauge"] == "filler"
    assert evidence["b_compression"] == "low"
    assert {"rep_brake_front", "rep_engine_reman"} <= set(repairs)


def test_the_limit_that_decided_and_those_that_differ_are_on_the_page(browser: Browser, car: int) -> None:
    browser.post(f"/cars/{car}/wear/setup", {"place": "us-wa"})
    text = words(browser.post(f"/cars/{car}/wear/corner/front-left", {**GOOD, "pad_inner": "1.2"}))

    assert "Decided by: rule in Washington: at least 1/32 in" in text
    assert "rule in Great Britain: at least 1.5 mm: past the limit" in text
    assert "Washington 46.37.360" in text


def test_a_doubtful_unit_is_asked_and_nothing_typed_is_lost(browser: Browser, car: int) -> None:
    html = browser.post(f"/cars/{car}/wear/corner/front-left", {**GOOD, "pad_inner": "0.157"}, status=422)

    assert "Did you mean 0.157 in" in html
    assert 'value="0.157"' in html
    assert 'value="8.5"' in html
    assert "No limit" not in words(html)
    assert "Measure" in words(browser.get(f"/cars/{car}/wear"))


def test_a_bad_panel_is_named_by_its_own_field(browser: Browser, car: int) -> None:
    html = browser.post(f"/cars/{car}/wear/paint", {"roof.film": "4.5", "bonnet.film": "110"}, status=422)

    assert 'id="wrong-roof.film"' in html
    assert "4.5 mil" in html
    assert 'value="110"' in html


def test_an_empty_form_is_refused(browser: Browser, car: int) -> None:
    assert "Nothing was entered" in browser.post(f"/cars/{car}/wear/battery", {}, status=422)


def test_a_future_day_is_refused(browser: Browser, car: int) -> None:
    assert "2030" in browser.post(
        f"/cars/{car}/wear/battery", {"rest": "12.6", "day": "2030-01-01"}, status=422
    )


def test_a_minus_sign_erases(browser: Browser, car: int) -> None:
    browser.post(f"/cars/{car}/wear/battery", {"rest": "12.6", "charge": "15.2"})
    text = words(browser.post(f"/cars/{car}/wear/battery", {"charge": "-"}))

    assert "Charging, lights on" not in text
    assert "Battery at rest" in text


def test_the_makers_limit_is_entered_once_with_its_origin_and_decides(browser: Browser, car: int) -> None:
    limit = {
        "quantity": "disc_mm",
        "side": "least",
        "value": "20.0 mm",
        "origin": "cast on the disc",
        "spot": "front",
    }
    assert "cast on the disc" in browser.post(f"/cars/{car}/wear/limits", limit)
    text = words(browser.post(f"/cars/{car}/wear/corner/front-left", {"disc": "19.8 19.8 19.8 19.81"}))

    assert "past the limit (maker: at least 20.0 mm)" in text


# Address below the chapter, what was typed, what the page must say, and another field that must still be there.
BAD = [
    ("corner/front-left", {"tread_inner": "0.2"}, "Did you mean 0.2 in (5.08 mm)"),
    ("corner/front-left", {"disc": "0.866 0.866 0.867 0.866"}, "Did you mean 0.866 in"),
    ("corner/front-left", {"tread_inner": "5/33"}, "not a fraction of an inch"),
    ("corner/front-left", {"runout": "0.002"}, "Did you mean 0.002 in"),
    ("corner/front-left", {"tread_inner": "9", "tread_new": "8"}, "new"),
    (
        "corner/front-left",
        {"pad_inner": "12", "pad_km": "20000", "pad_new": "10"},
        "thicker than 10 mm when new",
    ),
    ("corner/front-left", {"disc": "22.5 22.5 22.5 22.5", "disc_new": "22"}, "new"),
    ("corner/front-left", {"tyre_size": "205/55R61 91V"}, "rim"),
    ("corner/front-left", {"tyre_size": "2O5/55R16 91V"}, "205/55R16"),
    ("corner/front-left", {"tyre_size": "20555R16"}, "205/55R16"),
    ("corner/front-left", {"date_code": "5418"}, "week"),
    ("corner/front-left", {"date_code": "0131"}, "future"),
    ("corner/front-left", {"day": "2031-02-01"}, "2031"),
    ("corner/front-left", {"tread_inner": "many"}, "not a value"),
    ("engine", {"dry": "10.3 10.1 10.2 10.4"}, "bar"),
    ("engine", {"dry": "150 148 152 147"}, "psi"),
    ("engine", {"codes": "PO301"}, "The letter O is often typed for the digit 0"),
    ("engine", {"wet": "150 psi"}, "cylinder:value"),
    ("battery", {"drain": "0.03"}, "0.03 a"),
    ("battery", {"rest": "126"}, "outside"),
    ("fluids", {"glycol_percent": "140"}, "outside"),
    ("steering", {"lash": "2"}, "Did you mean 2 in"),
    ("steering", {"toe": "0.4"}, "maker"),
    ("papers", {"odometer": "2019-05-04 61000"}, "Kilometres or miles"),
    ("papers", {"odometer": "2031-05-04 61000 km"}, "future"),
    ("papers", {"odometer": "2019-13-04 61000 km"}, "no day"),
    ("tyre_sets", {"used_price": "cheap", "used_tread": "4"}, "not a number"),
    ("passes", {"before": "112 112", "after": "108"}, "equally often"),
    ("paint/roof", {"film": "0.11"}, "0.11 mm"),
]


@pytest.mark.parametrize(("where", "typed", "said"), BAD, ids=lambda value: str(value)[:40])
def test_a_bad_entry_is_asked_about_on_the_page_and_nothing_typed_is_lost(
    browser: Browser, store: Store, car: int, where: str, typed: dict[str, str], said: str
) -> None:
    fields = (GOOD | {"grading": "400 A A"} if where.startswith("corner") else {}) | typed
    html = browser.post(f"/cars/{car}/wear/{where}", fields, status=422)

    # The refusal is named, every text stands in its field again, and nothing was kept.
    refused = words(html)[: words(html).index("Nothing was changed")]
    assert said in refused
    for text in fields.values():
        assert f'value="{text}"' in html or f">{text}</textarea>" in html, text
    with store.reading() as tx:
        assert actions.findings(tx, car) == {}
        assert actions.entries_of(tx, car, where.split("/")[0]) == {}


def test_thirty_seconds_and_millimetres_are_both_read(browser: Browser, car: int) -> None:
    both = {"tread_inner": "4/32", "tread_middle": "4 mm", "tread_outer": "4"}
    text = words(browser.post(f"/cars/{car}/wear/corner/rear-left", both))

    assert "mm (0.125 in)" in text  # 4/32 in, the lowest of the three


def test_a_limit_without_origin_is_refused(browser: Browser, car: int) -> None:
    limit = {"quantity": "disc_mm", "side": "least", "value": "20.0 mm", "origin": "", "spot": ""}

    assert "Origin is empty" in browser.post(f"/cars/{car}/wear/limits", limit, status=422)


OWN_FILE = b"""schema: driveout-limits/1
limits:
  - {quantity: disc_mm, least: "20.0 mm", place: front, origin: "cast on the disc"}
  - {quantity: compression_ratio, least: "0.80", origin: "workshop manual, page 6-3"}
"""


def test_an_own_file_enters_many_limits_or_none_and_names_line_and_key(browser: Browser, car: int) -> None:
    bad = OWN_FILE.replace(b"0.80", b"much")
    html = browser.post(f"/cars/{car}/wear/limits/file", {}, {"file": ("own.yaml", bad)}, status=422)
    assert "own.yaml:4 limits.1.least" in html
    assert "None yet" in html
    law = OWN_FILE.replace(b'origin: "work', b'kind: regulation, origin: "work')
    html = browser.post(f"/cars/{car}/wear/limits/file", {}, {"file": ("own.yaml", law)}, status=422)
    assert "own.yaml:4 limits.1.kind" in html

    text = words(browser.post(f"/cars/{car}/wear/limits/file", {}, {"file": ("own.yaml", OWN_FILE)}))
    assert "workshop manual, page 6-3" in text
    judged = words(browser.post(f"/cars/{car}/wear/engine", {"dry": "150 118 150 149 psi"}))
    # 118 / 150 = 0.787: the general 0.75 would hold, the maker's 0.80 does not.
    assert "past the limit (maker: at least 0.80)" in judged


def test_a_limit_entered_by_mistake_is_taken_away(browser: Browser, store: Store, car: int) -> None:
    with store.writing() as tx:
        actions.set_maker_limit(tx, car, "drum_mm", "most", "230 mm", "cast", at=store.now())
    one = {"quantity": "drum_mm", "side": "most", "spot": "", "version": "1"}
    assert "None yet" in browser.post(f"/cars/{car}/wear/limits/drop", one)
    browser.post(f"/cars/{car}/wear/limits/drop", one, status=409)
    with store.reading() as tx:
        assert trail_of(tx, car)[0].summary == "Maker's limit taken away: Drum diameter"


def test_the_outline_names_every_panel_in_words(browser: Browser, car: int) -> None:
    html = browser.post(
        f"/cars/{car}/wear/paint", {f"{panel}.film": "110" for panel in PANELS} | {"roof.film": "260"}
    )

    assert 'aria-label="bonnet: 110 µm, holds"' in html
    assert 'aria-label="roof: 260 µm, close to the limit"' in html
    assert 'aria-label="right sill: not measured"' in html
    assert "url(#hatch)" in html


def test_the_sheet_reads_without_links_to_forms(browser: Browser, car: int) -> None:
    browser.post(f"/cars/{car}/wear/corner/front-left", GOOD)
    browser.post(
        f"/cars/{car}/wear/paint", {"roof.film": "110", "bonnet.film": "112", "tailgate.film": "111"}
    )
    html = browser.get(f"/cars/{car}/wear/sheet")

    assert "<form" not in html[html.index("<main") :]
    assert "cartop" not in html  # the seller's outlook is not for the buyer
    assert "8.00 mm" in html
    assert "Held to" in html
    assert "no promise for later" in html
    # Where nothing verified decides, the sheet says so and names the unverified figures.
    assert "no verified limit; general: at most 6 years, unverified: holds" in words(html)
    assert "Paint film" in html


def test_the_papers_page_leads_to_the_number_and_counts_cars(browser: Browser, car: int) -> None:
    text = words(browser.get(f"/cars/{car}/wear/papers"))

    assert "Position 13 is I, which no number may have. Is it the digit 1?" in text
    assert f'href="/cars/{car}/identity"' in browser.get(f"/cars/{car}/wear/papers")
    assert "model year 2013: exempt from 2033" in text
    assert "number 6 crosses the line" in text
    rule = {
        "place": "Brackenford",
        "counts": "sold",
        "window": "calendar",
        "months": "12",
        "stop_at": "4",
        "origin": "page of the authority, read 2026",
    }
    assert "number 4 crosses the line" in words(browser.post(f"/cars/{car}/wear/seller-rule", rule))


PAGES = (
    "",
    "/corner/rear-right",
    "/paint",
    "/paint/roof",
    "/limits",
    "/sheet",
    "/engine",
    "/battery",
    "/fluids",
    "/steering",
    "/papers",
    "/test_drive",
    "/first_drive",
    "/passes",
    "/setup",
)


def test_each_page_draws_with_labels_and_one_heading(browser: Browser, car: int) -> None:
    for page in PAGES:
        html = browser.get(f"/cars/{car}/wear{page}")
        ids = set(re.findall(r'<(?:input|select|textarea)[^>]* id="([^"]+)"', html))

        assert html.count("<h1") == 1, page
        assert ids <= set(re.findall(r'<label for="([^"]+)"', html)), page
        assert "style=" not in html, page


def test_an_unknown_page_or_car_is_refused(browser: Browser, car: int) -> None:
    assert browser.client.get(f"/cars/{car}/wear/gauge").status_code in (404, 422)
    assert browser.client.get(f"/cars/{car}/wear/corner/middle").status_code == 422
    assert browser.client.get("/cars/999/wear").status_code == 404


def test_readings_and_limits_stand_in_the_trail(browser: Browser, store: Store, car: int) -> None:
    browser.post(f"/cars/{car}/wear/corner/front-left", {**GOOD, "pad_inner": "1.2"})
    with store.reading() as tx:
        summaries = [event.summary for event in trail_of(tx, car)]

    assert any(
        line.startswith("Measured: Corner: brake, tyre, wheel, front left: Pads front left")
        for line in summaries
    )


def test_two_windows_setting_the_same_limit_conflict(store: Store, car: int) -> None:
    with store.writing() as tx:
        actions.set_maker_limit(tx, car, "disc_mm", "least", "20 mm", "disc", at=store.now())
        version = actions.kept_limits(tx, car)[0].version
        actions.set_maker_limit(tx, car, "disc_mm", "least", "21 mm", "disc", at=store.now(), version=version)
    with pytest.raises(Conflict, match="another window"), store.writing() as tx:
        actions.set_maker_limit(tx, car, "disc_mm", "least", "22 mm", "disc", at=store.now(), version=version)


def test_a_refused_reading_leaves_nothing_behind(store: Store, car: int) -> None:
    with pytest.raises(BadEntry, match="hides edge wear"), store.writing() as tx:
        actions.record_readings(tx, car, "corner", {"front left": {"tread_inner": "5"}}, at=store.now())
    with store.reading() as tx:
        assert actions.findings(tx, car) == {}


def test_the_api_judges_without_a_record_and_names_the_key(browser: Browser) -> None:
    head = {"Origin": "http://localhost:8321"}
    case = {"schema": "driveout-limits/1", "readings": [{"topic": "battery", "rest": 12.1}]}
    good = browser.client.post("/api/wear", json=case, headers=head)
    case["readings"][0]["rest"] = 48  # type: ignore[index]
    bad = browser.client.post("/api/wear", json=case, headers=head)

    assert good.json()["verdicts"][0]["outcome"] == "close to the limit"
    assert bad.status_code == 422
    assert "readings.0.rest" in bad.json()["error"]["place"]
