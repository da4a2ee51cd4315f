"""The Viewing chapter on a phone: nothing runs over the edge, an answer is one tap."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from driveout.store import Store
from tests.browser.conftest import PHONE, shot
from tests.viewing import added

pytestmark = pytest.mark.browser


def test_one_tap_records_an_answer_and_the_next_check_stands_there(
    phone: Page, address: str, store: Store
) -> None:
    car = added(store)
    phone.set_default_timeout(20_000)
    phone.goto(f"{address}/cars/{car}/viewing?checks=4")
    first = phone.locator(".answer .big").inner_text()
    shot(phone, "viewing-page")

    assert phone.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    phone.locator("form[aria-label='What did it show?'] button").first.click()
    expect(phone.locator(".answer .big")).not_to_have_text(first)
    assert "checks=4" in phone.url
