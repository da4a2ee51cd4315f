"""Three cars at once, one overrunning: finish, sell as it stands or stop; the fourth is estimated by the lessons."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from driveout.store import Store
from tests.browser.conftest import shot
from tests.browser.test_accessible import faults_of
from tests.yard.three_cars import a_car, closed_cars, three_cars

pytestmark = pytest.mark.browser


def hours_here(page: Page) -> tuple[float, float]:
    """Own hours with and without the lessons, as the advert's page says them."""
    text = page.locator("p.lesson").inner_text()
    found = re.search(r"([\d.,]+) own hours are reckoned here instead of ([\d.,]+)\.", text)
    assert found, text
    return float(found[1].replace(",", "")), float(found[2].replace(",", ""))


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_three_cars_at_once_get_a_word_each_and_the_fourth_profits_from_lessons(
    request: pytest.FixtureRequest, address: str, store: Store, size: str
) -> None:
    page: Page = request.getfixturevalue(size)
    page.set_default_timeout(20_000)
    with store.writing() as tx:
        three_cars(tx, store.now())
        fourth = a_car(tx, store.now(), "Wren 1.2", "Clutch slips in high gears.", 600, 4200)

    # Without a finished car nothing is said about the person's own pace.
    page.goto(f"{address}/cars/{fourth}/advert")
    expect(page.locator("p.lesson")).to_have_count(0)

    # From the yard it is one tap to today's list; each step says why in money.
    page.goto(address)
    page.get_by_role("link", name="4 h", exact=True).click()
    first = page.locator(".todaylist li").first
    expect(first).to_contain_text("Because:")
    expect(first).to_contain_text("USD")
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]  # type: ignore[index]
    shot(page, f"{size}-today-list")

    # Each of the three gets one word and its reasons; the overrun is named.
    page.get_by_role("link", name="The yard ahead").first.click()
    for name, word in (
        ("Tarnwick Linnet 1.4", "Finish it"),
        ("Tarnwick Pipit 1.2", "Sell it as it stands"),
        ("Tarnwick Dunnock 2.0", "Stop"),
    ):
        part = page.get_by_role("region", name=name, exact=True)
        expect(part.locator(".big")).to_contain_text(word)
        expect(part.locator(".answer p").nth(1)).to_contain_text("USD")
    expect(page.get_by_role("region", name="Tarnwick Dunnock 2.0", exact=True)).to_contain_text(
        "It has taken"
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]  # type: ignore[index]
    assert not faults_of(page)
    shot(page, f"{size}-yard-ahead")

    # What if one is dropped and more hours are worked.
    page.get_by_label("Own hours a week").fill("20")
    page.get_by_label("Without").select_option(label="Tarnwick Dunnock 2.0")
    page.get_by_role("button", name="Try it").click()
    expect(page.locator("main")).to_contain_text("as it would be")
    shot(page, f"{size}-what-if")

    # Eight cars later the fourth car's first estimate carries what they taught.
    with store.writing() as tx:
        closed_cars(tx, store.now())
    page.goto(f"{address}/cars/{fourth}/advert")
    after, before = hours_here(page)
    assert 1.2 < after / before < 1.4
    expect(page.locator("p.lesson")).to_contain_text("times the estimate (16 jobs)")
    shot(page, f"{size}-fourth-car")
    page.goto(f"{address}/lessons")
    shot(page, f"{size}-lessons-of-eight")
    assert not faults_of(page)
