"""Readings of a whole car typed on a phone: four corners, twelve panels, one compression test, every tap counted."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

from driveout.outlook.actions import newest_point
from driveout.repairs.actions import proposals
from driveout.store import Store
from driveout.wear import actions
from driveout.wear.topics import TOPICS
from tests.browser.conftest import PHONE, shot
from tests.browser.test_accessible import faults_of
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


# One whole round: entries by topic and spot, and what the page must say: the limit that decided, and one that
# would have decided differently. Sheets without a limit of their own only say their verdict.
ROUND: tuple[tuple[str, str, dict[str, str], str, str], ...] = (
    (
        "corner",
        "front left",
        {
            "pad_inner": "1.2",
            "pad_outer": "2",
            "disc": "21.12 21.13 21.11 21.12",
            "runout": "0.045 mm",
            "drum": "203",
            "play": "7 mm",
            "rim_lateral": "2 mm",
            "tread_inner": "2.5",
            "tread_middle": "6",
            "tread_outer": "6",
            "date_code": "1415",
            "tyre_size": "185/65R15 88T",
        },
        "Decided by: rule in Washington: at least 1/32 in",
        "rule in Great Britain: at least 1.5 mm: past the limit",
    ),
    ("paint", "roof", {"film": "250 260 255"}, "Decided by", "general"),
    (
        "engine",
        "engine",
        {"dry": "150 148 107 149 psi", "wet": "3:112 psi", "oil_pressure": "20 psi", "oil_rpm": "3000"},
        "Decided by: general: at least 0.75",
        "at least 0.70, for comparison: holds",
    ),
    (
        "battery",
        "battery",
        {"rest": "12.22", "rested": "8", "charge": "13.2"},
        "Decided by: general: at least 12.24 V",
        "at least 12.2 V, for comparison: holds",
    ),
    (
        "fluids",
        "fluids",
        {"fluid": "DOT 4", "water": "3.2"},
        "Decided by: general: at most 3.7 %",
        "at most 3 %",
    ),
    (
        "steering",
        "steering",
        {"lash": "60", "wheel": "380", "pedal_free": "150", "pedal_pressed": "25"},
        "Decided by: rule in the United States: at most 2.00 in",
        "rule in Utah",
    ),
    (
        "tyre_sets",
        "tyres",
        {"used_price": "160", "used_tread": "3.6", "new_price": "380", "new_tread": "8"},
        "",
        "",
    ),
    ("papers", "papers", {"odometer": "2019-05-04 61000 km inspection\n2022-05-04 58000 km receipt"}, "", ""),
    ("test_drive", "drive", {"clutch_slip": "plain"}, "", ""),
    ("first_drive", "drive", {}, "", ""),
    ("passes", "own", {"passes": "4", "before": "112 112", "after": "108 108"}, "", ""),
    ("setup", "car", {"place": "us-wa", "maker_size": "195/65R15 91H"}, "", ""),
)


def test_every_topic_shows_the_reading_the_deciding_limit_the_others_and_where_to_measure(
    phone: Page, desk: Page, address: str, store: Store
) -> None:
    car = added(store)
    at = store.now()
    assert {row[0] for row in ROUND} == set(TOPICS)
    with store.writing() as tx:
        for panel in ("bonnet", "tailgate", "left wing"):
            actions.record_readings(tx, car, "paint", {panel: {"film": "110 112"}}, at=at)
        for topic, spot, entries, _, _ in reversed(ROUND):
            if entries:
                actions.record_readings(tx, car, topic, {spot: entries}, at=at)
    faults: list[str] = []
    for page, size in ((phone, "phone"), (desk, "desk")):
        page.set_default_timeout(20_000)
        for topic, spot, entries, decided, other in ROUND:
            deeper = f"/{spot.replace(' ', '-')}" if topic in ("corner", "paint") else ""
            page.goto(f"{address}/cars/{car}/wear/{topic}{deeper}")
            page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
            main = page.get_by_role("main")
            drawing = main.locator(".drawing svg[role=img]").first
            expect(drawing).to_be_visible()
            assert len(drawing.get_attribute("aria-label") or "") > 20, topic
            assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"], topic  # type: ignore[index]
            if entries and topic != "setup":
                expect(main.get_by_role("heading", name="Verdict")).to_be_visible()
            text = " ".join(main.inner_text().split())
            assert decided in text, topic
            assert other in text, topic
            faults += faults_of(page) if page is phone else []
            shot(page, f"{size}-wear-{topic}")
        for name in ("", "/paint", "/limits", "/sheet"):
            page.goto(f"{address}/cars/{car}/wear{name}")
            faults += faults_of(page) if page is phone else []
            shot(page, f"{size}-wear{name.replace('/', '-')}")
        page.goto(f"{address}/cars/{car}/identity")
        faults += faults_of(page) if page is phone else []
        assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]  # type: ignore[index]
        shot(page, f"{size}-identity")
    assert not faults, "\n".join(faults)


def test_the_inspection_sheet_prints_so_that_a_buyer_can_read_it(
    desk: Page, address: str, store: Store, tmp_path: Path
) -> None:
    car = added(store)
    at = store.now()
    with store.writing() as tx:
        for topic, spot, entries, _, _ in reversed(ROUND):
            if entries:
                actions.record_readings(tx, car, topic, {spot: entries}, at=at)
        for panel in ("bonnet", "tailgate", "left wing", "right wing"):
            actions.record_readings(tx, car, "paint", {panel: {"film": "110 112"}}, at=at)
    desk.set_default_timeout(20_000)
    desk.goto(f"{address}/cars/{car}/wear/sheet")
    printed = tmp_path / "sheet.pdf"
    desk.pdf(path=str(printed), format="A4")
    text = subprocess.run(["pdftotext", str(printed), "-"], capture_output=True, check=True)
    words = " ".join(text.stdout.decode().split())
    folder = os.environ.get("DRIVEOUT_SHOTS")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        subprocess.run(["pdftoppm", "-png", "-r", "80", str(printed), f"{folder}/printed-sheet"], check=True)

    # Cells of two lines are read across the row, so both halves are looked for.
    assert "1.20 mm" in words
    assert "(0.047 in)" in words
    assert "rule in Washington" in words
    assert "Compression" in words
    assert "no promise for later" in words
    # What the seller thinks of price and profit is not the buyer's to read, nor are buttons and menus.
    assert "walk-away" not in words.lower()
    assert "Back to Wear" not in words
    assert "Yard" not in words
