"""Readings of a whole car typed on a phone: four corners, twelve panels, one compression test, every tap counted."""

from __future__ import annotations

import pytest
from playwright.sync_api import Locator, Page, expect

from driveout.outlook.actions import newest_point
from driveout.repairs.actions import proposals
from driveout.store import Store
from driveout.wear import actions
from tests.browser.conftest import PHONE, shot
from tests.viewing import added

pytestmark = pytest.mark.browser

CORNER = ("Inner pad", "Outer pad", "Tread, inner", "Tread, middle", "Tread, outer", "Date code")
SOUND = ("8", "8.5", "6", "6", "6", "3522")
WORN = ("1.2", "2", "2.5", "6", "6", "3522")
PANELS = (
    "Bonnet",
    "Roof",
    "Tailgate",
    "Left wing",
    "Right wing",
    "Left front door",
    "Right front door",
    "Left rear door",
    "Right rear door",
    "Left quarter",
    "Right quarter",
    "Left sill",
)


class Thumb:
    """One thumb on a phone: counts what it taps and the signs it types."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps, self.signs = page, 0, 0

    def tap(self, what: Locator) -> None:
        box = what.bounding_box()
        assert box is not None
        self.taps += 1
        what.click()

    def type(self, label: str, text: str) -> None:
        field = self.page.get_by_role("textbox", name=label).first
        self.tap(field)
        self.signs += len(text)
        self.page.keyboard.type(text)

    def press(self, name: str) -> None:
        button = self.page.get_by_role("button", name=name, exact=True)
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 44
        self.tap(button)
        self.page.wait_for_load_state("load")

    def follow(self, name: str) -> None:
        self.tap(self.page.get_by_role("main").get_by_role("link", name=name, exact=True))
        self.page.wait_for_load_state("load")
        assert self.page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_four_corners_twelve_panels_and_a_compression_test_take_49_taps_and_move_the_outlook(
    phone: Page, address: str, store: Store
) -> None:
    car = added(store)
    with store.reading() as tx:
        before = {p.repair.id: p.chance for p in proposals(tx, car)}
        weighed = newest_point(tx, car)
    phone.set_default_timeout(20_000)
    phone.goto(f"{address}/cars/{car}/wear")
    thumb = Thumb(phone)

    thumb.follow("Corner front left")
    for corner in ("front left", "front right", "rear left", "rear right"):
        expect(phone.get_by_role("heading", level=1)).to_contain_text(corner)
        for label, text in zip(CORNER, WORN if corner == "front left" else SOUND, strict=True):
            thumb.type(label, text)
        if corner == "front left":
            shot(phone, "readings-corner")
        thumb.press("Keep" if corner == "rear right" else "Keep and next corner")
    corners = thumb.taps
    thumb.follow("Wear")
    thumb.follow("Paint, all panels")
    for panel in PANELS:
        thumb.type(panel, "250 340" if panel == "Right quarter" else "108 112")
    shot(phone, "readings-paint")
    thumb.press("Keep")
    paint = thumb.taps - corners
    thumb.follow("Wear")
    thumb.follow("Engine")
    thumb.type("Compression, every cylinder", "170 165 120 168 psi")
    thumb.type("Again with 15 ml", "3:150 psi")
    thumb.press("Keep")
    shot(phone, "readings-engine")

    assert corners == 1 + 4 * (6 + 1)
    assert paint == 2 + 12 + 1
    assert thumb.taps == 49
    # At two seconds a tap and a third of a second a sign, both generous: under five minutes.
    assert 2 * thumb.taps + thumb.signs / 3 < 300
    with store.reading() as tx:
        evidence = actions.evidence(tx, car)
        after = {p.repair.id: p.chance for p in proposals(tx, car)}
        told = newest_point(tx, car)
    assert evidence["w_paint_gauge"] == "filler"
    assert evidence["b_compression"] == "low"
    # Worn pads and one weak cylinder: brakes and the inside of the engine are weighed more, profit less.
    assert after["rep_brake_front"] > before["rep_brake_front"] + 0.1
    assert "rep_head_valves" in after
    assert "rep_head_valves" not in before
    assert weighed is not None
    assert told is not None
    assert (told.profit_p50_minor or 0) < (weighed.profit_p50_minor or 0)
    assert (told.ceiling_minor or 0) < (weighed.ceiling_minor or 0)
    assert "Compression" in told.reason
