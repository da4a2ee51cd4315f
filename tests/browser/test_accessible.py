"""No page has a fault that the accessibility rules can see, nor scrolls sideways on a phone."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from driveout.demo.actions import fill
from driveout.store import Store
from tests.browser.conftest import shot

pytestmark = pytest.mark.browser

HOUSE = (
    "/",
    "/adverts/new",
    "/adverts/order",
    "/money/forecast",
    "/lessons",
    "/money",
    "/rules",
    "/help",
    "/help/api",
    "/knowledge",
)
CHAPTERS = (
    *("advert", "outlook", "viewing", "faults", "repairs", "work", "plan", "parts", "wear", "money", "value"),
    *("sale", "lookback", "trail"),
)
PAGES = (*HOUSE, *(f"/cars/{car}/{chapter}" for car in (1, 2) for chapter in CHAPTERS))


def faults_of(page: Page) -> list[str]:
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    return [f"{page.url}: {one['id']}: {one['nodes'][0]['html'][:160]}" for one in found]


def test_no_page_has_a_fault_that_the_rules_can_see(
    phone: Page, desk: Page, address: str, store: Store
) -> None:
    fill(store)
    faults: list[str] = []
    for page in (phone, desk):
        page.set_default_timeout(30_000)
        for path in PAGES:
            answer = page.goto(address + path)
            assert answer is not None
            assert answer.status == 200, path
            page.wait_for_load_state("load")
            if page.evaluate("document.documentElement.scrollWidth") > page.viewport_size["width"]:  # type: ignore[index]
                faults.append(f"{path} scrolls sideways")
            if page is phone:
                faults += faults_of(page)
            shot(page, ("phone" if page is phone else "desk") + path.replace("/", "-"))
    assert not faults, "\n".join(faults)
