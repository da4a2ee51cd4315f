"""No page has a fault that the accessibility rules can see; none scrolls sideways; the keyboard reaches all."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from driveout.app import web_app
from driveout.demo.actions import fill
from driveout.hunt.actions import buy
from driveout.repairs.actions import choose_repair
from driveout.store import Store
from driveout.units import Money
from tests.browser.conftest import DESK, PHONE, open_page, shot
from tests.every_page import every_page

# What a page looks like does not hang on the engine behind it.
pytestmark = [pytest.mark.browser, pytest.mark.sqlite_only]

# Widths that a person sees at 200 % zoom: of a desktop, and the narrowest that pages must flow into (WCAG 1.4.10).
ZOOMED = (720, 320)
WIDE = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
FOCUSED = """() => {
  const at = document.activeElement, style = getComputedStyle(at);
  if (at === document.body) return null;
  const box = at.getBoundingClientRect();
  return [at.outerHTML.slice(0, 120), parseFloat(style.outlineWidth) > 0 && style.outlineStyle !== 'none',
          box.width > 0 && box.height > 0];
}"""
REACHABLE = """() => [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')]
  .filter(one => !one.disabled && one.checkVisibility({visibilityProperty: true}) && !one.closest('details:not([open]) > :not(summary)')).length"""


def pages_of(store: Store) -> dict[str, list[str]]:
    """Every page of a record with a sold car, a car in work and an advert; the routes with one address each."""
    fill(store)
    with store.writing() as tx:
        buy(tx, 2, Money.of("1000", "USD"), at=store.now())
    with store.writing() as tx:
        choose_repair(tx, 2, "rep_clutch_fwd", "new", at=store.now())
    return every_page(web_app(store), most_of_a_kind=12)


def two_of_each(found: dict[str, list[str]]) -> list[str]:
    """First and last address of each route: for a chapter, of the car in work and of the sold one."""
    return [path for paths in found.values() for path in dict.fromkeys((paths[0], paths[-1]))]


def faults_of(page: Page) -> list[str]:
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    return [f"{page.url}: {one['id']}: {one['nodes'][0]['html'][:160]}" for one in found]


@pytest.mark.parametrize(("size", "scheme"), [(PHONE, "light"), (DESK, "dark")], ids=["phone", "desk"])
def test_no_page_has_a_fault_that_the_rules_can_see(
    chromium: Browser, address: str, store: Store, size: dict[str, int], scheme: str
) -> None:
    found = pages_of(store)
    page = open_page(chromium, size, color_scheme=scheme, reduced_motion="reduce")
    page.set_default_timeout(30_000)
    faults: list[str] = []
    for path in two_of_each(found):
        answer = page.goto(address + path)
        assert answer is not None
        assert answer.status == 200, path
        if page.evaluate(WIDE):
            faults.append(f"{path} scrolls sideways")
        faults += faults_of(page)
        if page.evaluate("document.getAnimations().length"):
            faults.append(f"{path} moves though the person asked for stillness")
        shot(page, ("phone" if size is PHONE else "desk") + path.replace("/", "-").replace("?", "-"))
    page.context.close()
    assert len(found) > 40
    assert not faults, "\n".join(faults)


def test_at_double_size_everything_still_flows(chromium: Browser, address: str, store: Store) -> None:
    found = pages_of(store)
    faults = []
    for width in ZOOMED:
        page = open_page(chromium, {"width": width, "height": 700})
        page.set_default_timeout(30_000)
        for path in [paths[-1] for paths in found.values()]:
            page.goto(address + path)
            if page.evaluate(WIDE):
                faults.append(f"{path} scrolls sideways at {width} px")
        page.context.close()
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize(
    "path", ["/", "/adverts/new", "/cars/2/repairs", "/cars/2/money", "/cars/2/sale", "/rules"]
)
def test_the_keyboard_reaches_everything_and_shows_where_it_is(
    chromium: Browser, address: str, store: Store, path: str
) -> None:
    pages_of(store)
    page = open_page(chromium, DESK)
    page.goto(address + path)
    wanted = page.evaluate(REACHABLE)
    reached: list[str] = []
    for _ in range(wanted + 40):
        page.keyboard.press("Tab")
        now = page.evaluate(FOCUSED)
        if now is None:
            break
        html, outlined, there = now
        assert outlined, f"{path}: no outline on {html}"
        assert there, f"{path}: hidden {html}"
        reached.append(html)
    assert now is None, f"{path}: the keyboard is caught at {reached[-1]}"
    assert len(reached) >= wanted - 1  # radio buttons of one group are one stop
    page.context.close()


def test_every_page_can_be_found_by_following_links(store: Store) -> None:
    found = pages_of(store)

    app = web_app(store)
    files = ("{digest}", ".pdf", ".ics", ".html", "/export", "/file", "/sw.js", ".webmanifest")
    by_itself = {
        "/cars/{car_id}/advert/offer": "only before the car is bought",
        "/cars/{car_id}/viewing": "only before the car is bought",
        "/pair": "opened by the code on the screen",
    }
    hidden = [
        route.path
        for route in app.state.page_routes
        if "GET" in route.methods
        and route.path not in found
        and route.path not in by_itself
        and not any(mark in route.path for mark in files)
    ]
    assert not hidden
