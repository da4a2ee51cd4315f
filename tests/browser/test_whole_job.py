"""One car from advert to closed books, on a phone, as a person would tap it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from driveout.files import shipped
from driveout.lessons.actions import frozen_estimate, result_of
from driveout.outlook.actions import trail
from driveout.store import Store
from tests.browser.conftest import shot

pytestmark = pytest.mark.browser

ADVERT = shipped("driveout.demo", "data/advert.txt").decode()
BENCH = "/cars/{car}/work/{job}/bench?task={task}"


def amount(text: str) -> float:
    """First amount of US dollars in a text."""
    found = re.search(r"(-?[\d,]+\.\d\d) USD", text)
    assert found, text
    return float(found[1].replace(",", ""))


def chapter(page: Page, name: str) -> None:
    page.locator("nav.chapters").get_by_role("link", name=name, exact=True).click()


def no_side_scroll(page: Page) -> None:
    page.wait_for_load_state("load")
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]  # type: ignore[index]


def keep_the_advert(page: Page, address: str) -> None:
    page.goto(f"{address}/adverts/new")
    page.locator("textarea").first.fill(ADVERT)
    page.get_by_role("button", name="Read it").click()
    page.fill("#f-value_low", "5100")
    page.fill("#f-value_likely", "5800")
    page.fill("#f-value_high", "6400")
    no_side_scroll(page)
    shot(page, "phone-read")
    page.get_by_role("button", name="Keep it and weigh it").click()


def test_one_car_from_advert_to_closed_books_on_a_phone(
    phone: Page, address: str, store: Store, tmp_path: Path
) -> None:
    complaints: list[str] = []
    phone.on("pageerror", lambda error: complaints.append(str(error)))
    phone.on("request", lambda asked: complaints.append(asked.url) if address not in asked.url else None)
    phone.set_default_timeout(20_000)

    # 1, 2: an empty yard teaches; an advert is pasted, read, corrected, weighed
    phone.goto(address)
    phone.get_by_role("main").get_by_role("link", name="New advert").click()
    keep_the_advert(phone, address)
    limit = amount(phone.locator("main .answer").first.inner_text())
    expect(phone.locator("main")).to_contain_text("Clutch")
    expect(phone.locator(".cartop svg").first).to_be_visible()
    no_side_scroll(phone)
    shot(phone, "phone-advert")

    # 3: the result of a check moves the outlook and the walk-away price, and the trail says by how much
    chapter(phone, "Viewing")
    phone.locator("button[name=outcome]").last.click()
    with store.reading() as tx:
        points = trail(tx, 1)
    assert len(points) >= 2
    assert points[-1].ceiling_minor != points[0].ceiling_minor
    chapter(phone, "Outlook")
    expect(phone.locator("main")).to_contain_text("Found:")
    shot(phone, "phone-outlook")

    # 4: bought, repairs chosen, two assemblies begun, a hold point stands in the way
    chapter(phone, "Advert")
    phone.fill('form[action$="/advert/buy"] input[name=price]', "950")
    phone.get_by_role("button", name="Bought").click()
    for repair in ("rep_clutch_fwd", "rep_water_pump"):
        chapter(phone, "Repairs")
        unfold(phone)
        form = phone.locator('form[aria-label="Any other repair"]')
        form.locator("select[name=repair]").select_option(repair)
        form.locator("button").click()
    shot(phone, "phone-repairs")
    chapter(phone, "Strip and refit")
    assert phone.get_by_role("link", name=re.compile("^To the bench")).count() == 2
    shot(phone, "phone-work")
    phone.get_by_role("link", name=re.compile("^To the bench")).first.click()
    phone.get_by_role("button", name="Done").click()
    phone.goto(address + BENCH.format(car=1, job=1, task="hold:strip:draw"))
    expect(phone.locator("main")).to_contain_text("Still holds: Ground strap")
    phone.get_by_role("button", name="Pass the hold point").click()
    expect(phone.locator("#refused")).to_be_visible()
    shot(phone, "phone-hold-point-refused")
    phone.goto(address + BENCH.format(car=1, job=1, task="off:wheel_left_nuts"))
    shot(phone, "phone-bench")
    phone.goto(f"{address}/cars/1/work/1/torque?link=wheel_left_nuts")
    enter_a_torque(phone)
    phone.goto(f"{address}/cars/1/work/1/bench")
    unfold(phone)
    phone.locator('form[action$="/timer"] input[name=hours]').first.fill("14.5")
    phone.locator('form[action$="/timer"]:has(input[name=hours]) button').first.click()

    # 5: receipts, a core deposit and its return; real cost against the frozen estimate
    phone.goto(f"{address}/cars/1/money")
    book_a_receipt(phone, "412.80", "Clutch kit", "rep_clutch_fwd", core="60")
    expect(phone.locator("main")).to_contain_text("60.00 USD")
    phone.get_by_role("button", name="All of it came back").first.click()
    expect(phone.locator("main")).to_contain_text("1,302.80 USD")
    no_side_scroll(phone)
    shot(phone, "phone-money")

    # 6: appraised from a spreadsheet's CSV, a price path, offers answered
    chapter(phone, "Value")
    table = tmp_path / "similar.csv"
    table.write_bytes(shipped("driveout.demo", "data/comparables.csv"))
    phone.set_input_files("input[type=file]", table)
    phone.get_by_role("button", name="Read and appraise").click()
    expect(phone.locator("main")).to_contain_text("Of ten such cars eight sell between")
    shot(phone, "phone-value")
    chapter(phone, "Sale")
    phone.fill("#f-fallback", "1500")
    phone.get_by_role("button", name="Work out the plan").click()
    phone.get_by_role("button", name="It is in the advert").click()
    take_it = amount(phone.locator("main").inner_text().split("Take any offer of")[1])
    answers = []
    for offered in (take_it - 2500, take_it - 300, take_it + 400):
        phone.fill("#f-amount", f"{offered:.2f}")
        phone.fill("#f-buyer", "M. Penhalow")
        phone.get_by_role("button", name="What to answer?").click()
        answers.append(phone.locator("main").inner_text())
    shot(phone, "phone-sale")
    assert "Decline" in answers[0] or "Counter" in answers[0]
    assert "Accept" in answers[2] or "Counter" in answers[2]

    # 7: sold, closed, variance to the cent
    unfold(phone)
    phone.fill('form[action$="/sale/sold"] input[name=price]', "4600")
    phone.locator('form[action$="/sale/sold"] button').first.click()
    chapter(phone, "Looking back")
    phone.get_by_role("button", name=re.compile("^Close")).click()
    with store.reading() as tx:
        closing = result_of(tx, 1)
        before = frozen_estimate(tx, 1)
    assert closing.closed_at is not None
    assert closing.variance is not None
    assert before is not None
    expect(phone.locator("main")).to_contain_text(closing.profit.text())
    shot(phone, "phone-lookback")
    phone.goto(f"{address}/lessons")
    no_side_scroll(phone)
    shot(phone, "phone-lessons")

    # the next car like it is weighed with what was learned
    keep_the_advert(phone, address)
    assert amount(phone.locator("main .answer").first.inner_text()) != limit
    assert complaints == []


def unfold(page: Page) -> None:
    """Open every fold of the page, as a person does by tapping them."""
    page.locator("main details").evaluate_all("all => all.forEach(one => { one.open = true })")


def enter_a_torque(page: Page) -> None:
    shot(page, "phone-torque")
    page.locator("main form").first.locator("input:not([type=hidden])").first.fill("103 N·m")
    page.locator("main form").first.locator("button").first.click()
    expect(page.locator("main")).to_contain_text("103 N·m")


def book_a_receipt(page: Page, paid: str, what: str, line: str, core: str) -> None:
    form = page.locator('form[action$="/money/receipt"]')
    unfold(page)
    form.locator("input[name=amount]").fill(paid)
    form.locator("input[name=what]").fill(what)
    if form.locator(f"select[name=line] option[value={line}]").count():
        form.locator("select[name=line]").select_option(line)
    form.locator("input[name=core]").fill(core)
    form.locator("button").first.click()
