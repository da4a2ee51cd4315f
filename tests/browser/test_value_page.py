"""The chapter Value in a browser: adverts pasted on the phone, the picture, the table behind it, the way back."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from driveout.cars.actions import add_car
from driveout.store import Store
from tests.browser.conftest import shot

pytestmark = pytest.mark.browser

ADVERTS = """2013 Linnet 1.4, runs well
$4,250 - 76k miles - Brackenford

2012 Linnet 1.4, one owner
98 000 km, asking 4,100

2014 Linnet 1.4 tow hook
USD 4,900 and 88,000 km

2013 Linnet 1.4
sold for 3,700, 141,000 km

2013 Linnet 1.4 urgent
$1,150 130,000 km

2015 Linnet 1.4
$5,300, 71,000 km
"""


def _car(store: Store) -> int:
    with store.writing() as tx:
        return add_car(
            tx,
            name="Tarnwick Linnet 1.4",
            currency="USD",
            made_year=2013,
            mileage_km=61_000,
            at=datetime(2026, 5, 4, tzinfo=UTC),
            stage="bought",
        ).id


def _paste(page: Page, address: str, car: int, name: str) -> None:
    page.goto(f"{address}/cars/{car}/value")
    page.fill("#f-paste", ADVERTS)
    page.get_by_role("button", name="Read and appraise").click()
    page.get_by_text("Read: 4,250.00 USD asked, 2013, 122,310 km").wait_for()
    shot(page, f"{name}-value-read")
    page.get_by_text("How this came about").last.click()
    shot(page, f"{name}-value-open")

    assert Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"] == []


def test_adverts_pasted_on_a_phone_give_a_value_with_its_picture(
    phone: Page, address: str, store: Store
) -> None:
    _paste(phone, address, _car(store), "phone")

    assert phone.locator("svg[aria-labelledby^=prices] circle").count() >= 5
    assert phone.get_by_text("Driven little or much?").is_visible()
    assert phone.get_by_text("not proof").is_visible()
    assert phone.get_by_text("What each comparable does to the value").is_visible()
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    phone.get_by_role("button", name="Take it back").click()
    phone.get_by_text("Similar cars kept").wait_for(state="detached")


def test_the_value_page_fits_a_desk(desk: Page, address: str, store: Store) -> None:
    _paste(desk, address, _car(store), "desk")

    assert desk.evaluate("document.documentElement.scrollWidth") <= 1440


def test_a_spreadsheet_and_the_form_work_on_a_phone(phone: Page, address: str, store: Store) -> None:
    car = _car(store)
    phone.goto(f"{address}/cars/{car}/value")
    sheet = b"Price;km;Year\n4.250,00;98.000;2013\n3.900,00;120.500;2012\n"
    phone.set_input_files("#f-file", {"name": "seen.csv", "mimeType": "text/csv", "buffer": sheet})
    phone.get_by_role("button", name="Read and appraise").click()
    phone.get_by_text("Read: 4,250.00 USD asked, 2013, 98,000 km").wait_for()
    phone.fill("#f-price", "4100")
    phone.fill("#f-mileage", "70000")
    phone.select_option("#one-unit", "mi")
    phone.fill("#f-made_year", "2013")
    phone.get_by_role("button", name="Add and appraise").click()
    phone.get_by_text("Read: 4,100.00 USD asked, 2013, 112,654 km").wait_for()

    assert phone.get_by_text("From 3 comparables, May 4").is_visible()
