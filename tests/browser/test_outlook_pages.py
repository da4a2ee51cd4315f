"""The trail, go on or stop, and what would have to be true: on a phone and on a desk, with a table behind each picture."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser

from driveout.demo.actions import fill, usd
from driveout.hunt.actions import buy
from driveout.money.actions import book_receipt
from driveout.outlook.actions import note_delay
from driveout.repairs.actions import choose_repair
from driveout.store import Store
from tests.browser.conftest import DESK, PHONE, open_page, shot

pytestmark = pytest.mark.browser
WIDE = "document.documentElement.scrollWidth > document.documentElement.clientWidth"


def told(store: Store) -> None:
    """The demo with its second car bought, in work and late."""
    fill(store)
    with store.writing() as tx:
        buy(tx, 2, usd("1000"), at=store.now())
    with store.writing() as tx:
        choose_repair(tx, 2, "rep_clutch_fwd", "new", at=store.now())
    with store.writing() as tx:
        book_receipt(
            tx,
            2,
            "parts",
            usd("412.60"),
            "Clutch kit",
            "Quillan",
            store.now().date(),
            at=store.now(),
            line="rep_clutch_fwd",
        )
    with store.writing() as tx:
        note_delay(tx, 2, 12, "the flywheel is at the machine shop", at=store.now())


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_each_picture_has_its_table_and_nothing_scrolls_sideways(
    chromium: Browser, address: str, store: Store, size: dict[str, int]
) -> None:
    told(store)
    page = open_page(chromium, size)
    page.set_default_timeout(30_000)
    name = "phone" if size is PHONE else "desk"
    wanted = {
        "/cars/2/outlook": "Where it stood after each fact, newest first",
        "/cars/2/stop": "From today on, what is spent left out",
        "/cars/2/outlook/must": "So that nothing is lost on average",
    }
    for path, caption in wanted.items():
        page.goto(address + path)
        shot(page, f"{name}{path.replace('/', '-')}")
        assert page.locator("table caption", has_text=caption).count() == 1
        assert not page.evaluate(WIDE), path
    page.goto(address + "/cars/2/outlook")
    trail = page.locator("main ol[reversed]").inner_text()
    assert "the flywheel is at the machine shop" in trail
    assert "finish " in trail
    page.get_by_text("The same as a table").click()
    shot(page, f"{name}-outlook-table")
    assert "Delay of 12 days" in page.locator("table", has_text="Where it stood").inner_text()
    page.goto(address + "/cars/2/stop")
    assert page.locator("svg:visible title", has_text="Money still to come by each choice").count() == 1
    page.get_by_label("Brings as it stands, faults said").fill("2400")
    page.get_by_role("button", name="Keep these figures").click()
    assert "selling it as it stands" in page.locator("main").inner_text().lower()
    page.goto(address + "/cars/1/outlook")
    shot(page, f"{name}-sold")
    assert "booked" in page.locator("main").inner_text()
    page.context.close()
