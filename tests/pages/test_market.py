"""The chapter Value: works, refuses bad entry, loses nothing typed."""

from __future__ import annotations

import math

import pytest
from starlette.testclient import TestClient

from driveout.cars.actions import add_car, trail_of
from driveout.market.actions import appraisal_before, comparables_of, latest_appraisal, repair_adds_to
from driveout.store import Store
from tests.conftest import Browser, Clock

ROWS = "\ufeffPrice;Kilometres;Year\r\n" + "".join(
    f"{5200 - 120 * i},00;{120_000 + 6_100 * i};{2013 - i % 3}\r\n" for i in range(9)
)


@pytest.fixture
def car(store: Store, clock: Clock) -> int:
    with store.writing() as tx:
        return add_car(
            tx,
            name="Tarnwick Linnet 1.4",
            currency="USD",
            made_year=2013,
            mileage_km=141_000,
            at=clock(),
            stage="bought",
        ).id


def test_a_spreadsheet_is_uploaded_and_the_value_appears_with_its_interval(
    browser: Browser, car: int, store: Store
) -> None:
    text = browser.post(
        f"/cars/{car}/value/comparables",
        {"mileage_unit": "km"},
        files={"file": ("comps.csv", ROWS.encode(), "text/csv")},
    )

    assert "Likely to sell at" in text
    assert "From 9 comparables" in text
    assert "What each comparable does to the value" in text
    with store.reading() as tx:
        assert any(event.kind == "appraisal" for event in trail_of(tx, car))


def test_pasted_cells_do_the_same_and_a_second_paste_adds_nothing(
    browser: Browser, car: int, store: Store
) -> None:
    pasted = {"mileage_unit": "km", "paste": "price\tkm\tyear\n4500\t130000\t2013\n4300\t150000\t2012"}
    browser.post(f"/cars/{car}/value/comparables", pasted)
    browser.post(f"/cars/{car}/value/comparables", pasted)

    with store.reading() as tx:
        assert len(comparables_of(tx, car)) == 2


def test_bad_rows_are_all_shown_and_nothing_is_taken(browser: Browser, car: int, store: Store) -> None:
    pasted = "price\tkm\tyear\n4500\t130000\t2013\n-3\t150000\t2012\n4000\t9000000\t2012"
    text = browser.post(f"/cars/{car}/value/comparables", {"mileage_unit": "km", "paste": pasted}, status=422)

    assert "2 of 3 rows cannot be used" in text
    assert "not above 0" in text
    assert "9,000,000 km" in text
    assert "150000\t2012" in text
    with store.reading() as tx:
        assert comparables_of(tx, car) == ()


def test_one_car_typed_in_the_form_counts(browser: Browser, car: int) -> None:
    text = browser.post(
        f"/cars/{car}/value/one",
        {"price": "$4,400", "mileage": "82,000", "mileage_unit": "mi", "made_year": "2013", "kind": "sold"},
    )

    assert "131,966 km" in text
    assert "Only 1 comparable" in text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"price": "-5"}, "not above 0"),
        ({"price": ""}, "price is missing"),
        ({"price": "4000 EUR"}, "kept in USD"),
        ({"made_year": "2099"}, "in the future"),
        ({"made_year": ""}, "Neither year nor age"),
        ({"mileage_unit": "leagues"}, "not offered"),
        ({"mileage": "-131000"}, "outside 0 to"),
        ({"seen": "2031-01-01"}, "in the future"),
        ({"price": "0"}, "not above 0"),
    ],
)
def test_a_bad_entry_is_named_and_kept(browser: Browser, car: int, fields: dict[str, str], said: str) -> None:
    typed = {
        "price": "4400",
        "mileage": "131000",
        "mileage_unit": "km",
        "made_year": "2013",
        "place": "Brackenford",
    }
    text = browser.post(f"/cars/{car}/value/one", {**typed, **fields}, status=422)

    assert said in text
    assert 'value="Brackenford"' in text


def test_an_advert_that_is_gone_is_tapped_and_teaches_the_speed(
    browser: Browser, car: int, clock: Clock, store: Store
) -> None:
    browser.post(
        f"/cars/{car}/value/one",
        {"price": "4400", "mileage": "131000", "mileage_unit": "km", "made_year": "2013"},
    )
    clock.forward(days=9)
    with store.reading() as tx:
        kept = comparables_of(tx, car)[0]
    tap = {"comparable": str(kept.id), "version": str(kept.version), "what": "gone"}
    text = browser.post(f"/cars/{car}/value/seen", tap)

    assert "1 followed, 1 gone" in text
    assert "Nothing was overwritten" in browser.post(f"/cars/{car}/value/seen", tap, status=409)


def test_a_car_without_a_distance_says_what_is_missing(browser: Browser, store: Store, clock: Clock) -> None:
    with store.writing() as tx:
        bare = add_car(tx, name="Bare", currency="USD", at=clock()).id
    text = browser.post(
        f"/cars/{bare}/value/one",
        {"price": "4400", "mileage": "131000", "mileage_unit": "km", "made_year": "2013"},
        status=422,
    )

    assert "distance of Bare is not recorded" in text
    with store.reading() as tx:
        assert latest_appraisal(tx, bare) is None


def test_the_api_values_an_own_file_and_names_what_is_wrong(client: TestClient) -> None:
    body = {
        "schema": "driveout-comparables/1",
        "car": {"mileage_km": 141_000, "made_year": 2013},
        "comparables": [{"price": 4400, "mileage_km": 130_000, "made_year": 2013}],
    }
    good = client.post("/api/appraise", json=body)
    bad = client.post("/api/appraise", json={**body, "car": {"mileage_km": -1, "made_year": 2013}})

    assert good.status_code == 200
    assert good.json()["used"] == 1
    assert bad.status_code == 422
    assert bad.json()["error"]["field"] == "mileage_km"


def test_words_from_a_table_are_never_markup(browser: Browser, car: int) -> None:
    row = "name\tprice\tkm\tyear\n<script>alert(1)</script>\t4400\t130000\t2013"
    text = browser.post(f"/cars/{car}/value/comparables", {"mileage_unit": "km", "paste": row})

    assert "<script>alert" not in text
    assert "&lt;script&gt;" in text


def test_prices_in_another_currency_are_refused_and_the_paste_stays(browser: Browser, car: int) -> None:
    pasted = "price\tkm\tyear\tcurrency\n4500\t130000\t2013\tEUR"
    text = browser.post(f"/cars/{car}/value/comparables", {"mileage_unit": "km", "paste": pasted}, status=422)

    assert "prices in EUR; this car is kept in USD" in text
    assert "130000\t2013\tEUR" in text


def test_a_future_day_and_a_negative_distance_in_a_table_are_shown_together(
    browser: Browser, car: int
) -> None:
    pasted = "price\tkm\tyear\tseen\n4500\t-130000\t2013\t\n4500\t130000\t2013\t2031-01-01"
    text = browser.post(f"/cars/{car}/value/comparables", {"mileage_unit": "km", "paste": pasted}, status=422)

    assert "2 of 2 rows cannot be used" in text
    assert "outside 0 to" in text
    assert "in the future" in text


def test_a_table_of_a_million_rows_is_refused_in_a_sentence(browser: Browser, car: int, store: Store) -> None:
    data = b"price,km,year\n" + b"4000,90000,2013\n" * 1_000_000
    text = browser.post(
        f"/cars/{car}/value/comparables",
        {"mileage_unit": "km"},
        files={"file": ("comps.csv", data, "text/csv")},
        status=422,
    )

    assert "at most 50,000 are read" in text
    with store.reading() as tx:
        assert comparables_of(tx, car) == ()


def test_the_same_car_seen_twice_counts_once_and_is_said(browser: Browser, car: int) -> None:
    pasted = "price\tkm\tyear\n4500\t130123\t2013\n4300\t130123\t2013\n4100\t150000\t2012"
    text = browser.post(f"/cars/{car}/value/comparables", {"mileage_unit": "km", "paste": pasted})

    assert "From 2 comparables" in text
    assert "counts once" in text


def test_adverts_pasted_as_text_are_read_back_and_can_be_taken_back(
    browser: Browser, car: int, store: Store
) -> None:
    pasted = "2013 Linnet\n$4,250 76k miles\n\n2012 Linnet\n98 000 km, asking 3,900"
    text = browser.post(f"/cars/{car}/value/comparables", {"mileage_unit": "km", "paste": pasted})

    assert "Read: 4,250.00 USD asked, 2013, 122,310 km; 3,900.00 USD asked, 2012, 98,000 km." in text
    with store.reading() as tx:
        numbers = " ".join(str(kept.id) for kept in comparables_of(tx, car))
    browser.post(f"/cars/{car}/value/take-back", {"comparables": numbers})
    with store.reading() as tx:
        assert comparables_of(tx, car) == ()


def test_a_comparable_taken_out_can_be_put_back(browser: Browser, car: int, store: Store) -> None:
    browser.post(
        f"/cars/{car}/value/one",
        {"price": "4400", "mileage": "131000", "mileage_unit": "km", "made_year": "2013"},
    )
    browser.post(f"/cars/{car}/value/seen", {"comparable": "1", "version": "1", "what": "out"})
    with store.reading() as tx:
        assert comparables_of(tx, car) == ()
    browser.post(f"/cars/{car}/value/seen", {"comparable": "1", "version": "2", "what": "back"})
    with store.reading() as tx:
        assert len(comparables_of(tx, car)) == 1


def test_the_page_draws_the_prices_and_says_whose_value_it_is_and_how_it_was_driven(
    browser: Browser, car: int
) -> None:
    text = browser.post(
        f"/cars/{car}/value/comparables",
        {"mileage_unit": "km"},
        files={"file": ("comps.csv", ROWS.encode(), "text/csv")},
    )

    assert "Prices against distance" in text
    assert "faults usual at that age" in text
    assert "Driven little or much?" in text
    assert "not proof of anything" in text


def test_the_record_answers_what_a_repair_adds_and_what_was_told_before_the_sale(
    browser: Browser, car: int, store: Store, clock: Clock
) -> None:
    with store.reading() as tx:
        assert repair_adds_to(tx, car, share=(0.1, 0.1, 0.1)) is None
    browser.post(
        f"/cars/{car}/value/comparables",
        {"mileage_unit": "km"},
        files={"file": ("comps.csv", ROWS.encode(), "text/csv")},
    )
    with store.reading() as tx:
        kept = latest_appraisal(tx, car)
        adds = repair_adds_to(tx, car, share=(0.1, 0.1, 0.1))
        assert kept is not None
        assert adds is not None
        # A tenth of the mean of a log-normal law with these two numbers.
        mean = 0.1 * math.exp(kept.log_mean + kept.log_sd**2 / 2)
        assert float(adds.mean.major) == pytest.approx(mean, abs=0.01)
        assert kept.refers_to == "average"
        assert appraisal_before(tx, car, clock()) is None
        clock.forward(days=1)
        assert appraisal_before(tx, car, clock()) == kept


def test_comparables_of_another_model_move_the_slopes_that_a_value_starts_from(
    browser: Browser, car: int, store: Store, clock: Clock
) -> None:
    with store.writing() as tx:
        other = add_car(
            tx, name="Tarnwick Ouzel 2.0", currency="USD", made_year=2011, mileage_km=90_000, at=clock()
        ).id
    sheet = {"file": ("comps.csv", ROWS.encode(), "text/csv")}
    browser.post(f"/cars/{other}/value/comparables", {"mileage_unit": "km"}, files=sheet)
    text = browser.post(f"/cars/{car}/value/comparables", {"mileage_unit": "km"}, files=sheet)

    assert "and 1 other model of your own" in text


def test_another_car_of_the_same_model_is_no_other_model(
    browser: Browser, car: int, store: Store, clock: Clock
) -> None:
    with store.writing() as tx:
        name = "Tarnwick Linnet 1.4, 2011, blue"
        other = add_car(tx, name=name, currency="USD", made_year=2011, mileage_km=90_000, at=clock()).id
    sheet = {"file": ("comps.csv", ROWS.encode(), "text/csv")}
    browser.post(f"/cars/{other}/value/comparables", {"mileage_unit": "km"}, files=sheet)
    text = browser.post(f"/cars/{car}/value/comparables", {"mileage_unit": "km"}, files=sheet)

    assert "of your own" not in text
