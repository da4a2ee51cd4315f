"""The saved viewing sheet in a real browser, from a file, with the network cut, at phone size."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from driveout.faults.actions import findings_of
from driveout.store import Store
from driveout.viewing import Policy, actions
from driveout.viewing.car_plan import CarPlan, policies_without, policy_for
from driveout.viewing.policy import DIGITS
from driveout.viewing.record_file import read_record
from tests.browser.conftest import PHONE, shot
from tests.viewing import added

pytestmark = pytest.mark.browser
PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c4890000000d49444154789c6360606060"
    "000000050001a5f645400000000049454e44ae426082"
)


class Sheet:
    """One saved sheet, opened with no network."""

    def __init__(self, page: Page, made: CarPlan, policy: Policy, car: int) -> None:
        self.page, self.made, self.policy, self.car = page, made, policy, car
        self.price = made.price.minor // 100

    def limit(self) -> int:
        return int(re.sub(r"[^\d]", "", self.page.locator("#limit").inner_text()) or 0)

    def answer(self, number: int) -> None:
        self.page.locator("#answers button").nth(number).click()


@pytest.fixture
def sheet(chromium: Browser, store: Store, tmp_path: Path) -> Iterator[Sheet]:
    car = added(store)
    with store.reading() as tx:
        made = actions.plan_of(tx, car, kept=5)
        text = actions.sheet_of(tx, car, at=store.now(), made=made)
    file = tmp_path / "viewing.html"
    file.write_text(text, encoding="utf-8")
    context = chromium.new_context(
        viewport={"width": PHONE["width"], "height": PHONE["height"]},
        offline=True,
        accept_downloads=True,
        has_touch=True,
    )
    page = context.new_page()
    page.set_default_timeout(8000)
    asked, troubles = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: troubles.append(str(error)))
    page.on("console", lambda line: troubles.append(line.text) if line.type == "error" else None)
    page.goto(file.as_uri())
    yield Sheet(page, made, policy_for(made), car)
    assert [url for url in asked if not url.startswith(("file:", "blob:", "data:"))] == []
    assert troubles == []
    context.close()


def test_every_path_of_answers_shows_what_the_plan_says(sheet: Sheet) -> None:
    page, policy = sheet.page, sheet.policy
    for number in (0, 1):
        position = policy.start
        for _ in range(len(policy.checks) + 1):
            node = policy.nodes[position]
            assert sheet.limit() == pytest.approx(node.ceiling or 0.0, abs=0.5001)
            step = policy.advice(position, sheet.price)
            if step in policy.actions:
                expect(page.locator("#what")).to_contain_text("Buy at" if step == "buy" else "Walk away at")
                break
            check = sheet.made.checks[step]
            expect(page.locator("#say")).to_have_text(check.how)
            expect(page.locator("#caution")).to_be_visible(visible=bool(check.caution))
            if check.caution:
                expect(page.locator("#caution-words")).to_have_text(check.caution)
            buttons = page.locator("#answers button")
            expect(buttons).to_have_count(len(policy.outcomes[policy.checks.index(step)]))
            sheet.answer(number)
            at = policy.checks.index(step)
            position = position[:at] + DIGITS[number] + position[at + 1 :]
        while page.locator("#undo").is_enabled():
            page.locator("#undo").click()
        expect(page.locator("#trail li")).to_have_count(0)


def test_a_check_that_cannot_be_done_leads_to_the_plan_without_it_and_is_undone_like_an_answer(
    sheet: Sheet,
) -> None:
    page, policy = sheet.page, sheet.policy
    first = policy.advice(policy.start, sheet.price)
    other = policies_without(sheet.made, policy)[first]
    page.get_by_role("button", name="Cannot do this check").click()
    assert sheet.limit() == pytest.approx(other.nodes[policy.start].ceiling or 0.0, abs=0.5001)
    expect(page.locator("#not-best")).to_be_hidden()
    advice = other.advice(policy.start, sheet.price)
    expect(page.locator("#say")).to_have_text(sheet.made.checks[advice].how)
    shot(page, "viewing-sheet-cannot")

    page.get_by_role("button", name="Cannot do this check").click()
    expect(page.locator("#not-best")).to_be_visible()
    page.locator("#undo").click()
    page.locator("#undo").click()
    expect(page.locator("#say")).to_have_text(sheet.made.checks[first].how)


def test_when_nothing_can_be_done_the_limit_without_checks_remains(sheet: Sheet) -> None:
    page = sheet.page
    while page.locator("#cannot").is_visible():
        page.locator("#cannot").click()

    expect(page.locator("#what")).to_contain_text("at")
    stop = sheet.policy.nodes[sheet.policy.start].stop or 0.0
    assert sheet.limit() == pytest.approx(max(0.0, stop), abs=1.0)


def test_a_lower_price_changes_the_advice_and_a_wrong_one_is_refused(sheet: Sheet) -> None:
    page = sheet.page
    page.locator("#price").fill("fifty")
    page.get_by_role("button", name="Set").click()
    expect(page.locator("#price-wrong")).to_contain_text("digits")
    page.locator("#price").fill("9,999")
    page.get_by_role("button", name="Set").click()

    expect(page.locator("#what")).to_have_text("Walk away at 9,999 USD")
    page.locator("#price").fill(str(sheet.price))
    page.get_by_role("button", name="Set").click()
    expect(page.locator("#answers button").first).to_be_visible()


def test_answers_notes_and_photos_outlive_a_reload_and_come_home_as_a_record(
    sheet: Sheet, store: Store, tmp_path: Path
) -> None:
    page = sheet.page
    page.locator("#note").fill("<b>rubber smell</b>")
    page.locator("#photo").set_input_files({"name": "p.png", "mimeType": "image/png", "buffer": PNG})
    expect(page.locator("#photos img")).to_have_count(1)
    sheet.answer(0)
    page.locator("#notes").fill("friendly seller")
    page.locator("#decision").select_option("walked away")
    page.reload()

    expect(page.locator("#trail li")).to_have_count(1)
    expect(page.locator("#trail li")).to_contain_text("<b>rubber smell</b>")
    expect(page.locator("#photos img")).to_have_count(1)
    shot(page, "viewing-sheet")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save the record").click()
    kept = tmp_path / "record.json"
    waiting.value.save_as(kept)
    record = read_record(kept.read_bytes())
    page.get_by_role("button", name="Show as text").click()
    by_text = read_record(page.locator("#text").input_value())

    assert (record.car_id, record.notes, record.decision, len(record.photos)) == (
        sheet.car,
        "friendly seller",
        "walked away",
        1,
    )
    assert by_text.steps == record.steps
    assert record.steps[0].note == "<b>rubber smell</b>"
    assert json.loads(kept.read_text())["schema"] == "driveout-record/1"
    with store.writing() as tx:
        assert actions.hand_back(tx, sheet.car, record, home=store.home, at=store.now()) == len(
            record.steps[0].found
        )
    with store.reading() as tx:
        found = {row.finding: row.outcome for row in findings_of(tx, sheet.car) if row.origin == "check"}
        kept_photos = actions.photos_of(tx, sheet.car)
    assert found == dict(record.steps[0].found)
    assert len(kept_photos) == 1
    assert record.photos[0].kind == "image/jpeg"


def test_nothing_runs_over_the_edge_of_a_phone_and_every_button_is_large_enough(sheet: Sheet) -> None:
    page = sheet.page

    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    for button in page.locator("button:visible").all():
        box = button.bounding_box()
        assert box
        assert box["height"] >= 44
