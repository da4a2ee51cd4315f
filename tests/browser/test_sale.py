"""The demo car sold on a phone: comparables pasted, the plan seen, three offers answered, the buyer's file printed."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from driveout.demo.actions import fill
from driveout.files import shipped
from driveout.money import actions as money
from driveout.money import car_part
from driveout.selling import actions
from driveout.store import Store
from driveout.units import Money
from tests.browser.conftest import shot
from tests.browser.test_accessible import faults_of
from tests.money.judges import cents_off, profit_by_judge
from tests.selling.test_photos import CAMERA, a_phone_jpeg

pytestmark = pytest.mark.browser

# The demo's car of which only the advert was read.
CAR = 2


def unfold(page: Page) -> None:
    page.locator("main details").evaluate_all("all => all.forEach(one => { one.open = true })")


def amount(text: str) -> float:
    found = re.search(r"(-?[\d,]+\.\d\d) USD", text)
    assert found, text
    return float(found[1].replace(",", ""))


def no_side_scroll(page: Page) -> None:
    page.wait_for_load_state("load")
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]  # type: ignore[index]


def answer(page: Page, offered: float, word: str) -> None:
    """Type an offer and tap an answer."""
    page.fill("#f-amount", f"{offered:.0f}")
    page.fill("#f-buyer", {"Accepted": "M. Penhalow", "Countered": "R. Sorrel"}.get(word, "T. Ashgrove"))
    page.get_by_role("button", name="What to answer?").click()
    expect(page.locator("main")).to_contain_text("What each answer gives away")
    shot(page, f"sale-offer-{word.lower()}")
    page.get_by_role("button", name=word).first.click()


def test_the_demo_car_is_sold_on_a_phone_and_three_programs_agree_on_its_profit(
    phone: Page, desk: Page, address: str, store: Store, tmp_path: Path
) -> None:
    fill(store)
    for page in (phone, desk):
        page.set_default_timeout(30_000)

    # Bought, and one receipt with a photo's worth of work
    phone.goto(f"{address}/cars/{CAR}/advert")
    phone.fill('form[action$="/advert/buy"] input[name=price]', "950")
    phone.get_by_role("button", name="Bought").click()
    phone.goto(f"{address}/cars/{CAR}/money")
    form = phone.locator('form[action$="/money/receipt"]')
    form.locator("input[name=amount]").fill("412.80")
    form.locator("input[name=what]").fill("Clutch kit")
    form.locator("button").first.click()

    # Comparables pasted as a spreadsheet gives them
    phone.goto(f"{address}/cars/{CAR}/value")
    unfold(phone)
    phone.locator("textarea[name=paste]").fill(shipped("driveout.demo", "data/comparables.csv").decode())
    phone.locator("form:has(textarea[name=paste]) button").first.click()
    expect(phone.locator("main")).to_contain_text("eight sell between")

    # The plan, with what it leans on
    phone.goto(f"{address}/cars/{CAR}/sale")
    unfold(phone)
    phone.fill("#f-fallback", "1500")
    phone.fill("#f-holding_per_day", "6")
    phone.check("input[name=weekend]")
    phone.check("input[name=fresh]")
    phone.get_by_role("button", name="Work out the plan").click()
    text = phone.locator("main").inner_text()
    for said in ("Take any offer of", "A day of waiting costs", "How this came about", "fewer sales"):
        assert said in text
    no_side_scroll(phone)
    shot(phone, "sale-plan-phone")
    phone.get_by_role("button", name="It is in the advert").click()
    phone.get_by_role("button", name="Somebody asked about it").click()

    # Three offers: declined, countered, accepted
    take_it = amount(phone.locator("main").inner_text().split("Take any offer of")[1])
    answer(phone, take_it - 1500, "Declined")
    answer(phone, take_it - 100, "Countered")
    answer(phone, take_it + 300, "Accepted")
    with store.reading() as tx:
        offers = actions.log_of(tx, CAR)[2]
    assert [offer.answer for offer in offers] == ["accept", "counter", "decline"]
    agreed = offers[0].agreed

    # A deposit, a photo with its place and device, the buyer's file and the papers
    phone.goto(f"{address}/cars/{CAR}/money")
    unfold(phone)
    phone.fill("input[name=deposit]", "150")
    phone.fill("input[name=deposit_buyer]", "M. Penhalow")
    phone.get_by_role("button", name="Book the deposit").click()
    no_side_scroll(phone)
    shot(phone, "money-deposit-phone")
    phone.goto(f"{address}/cars/{CAR}/sale")
    unfold(phone)
    (tmp_path / "car.jpg").write_bytes(a_phone_jpeg(turn=6))
    phone.set_input_files("input[name=photo]", tmp_path / "car.jpg")
    phone.get_by_role("button", name="Add the photo").click()
    phone.wait_for_load_state("load")
    unfold(phone)
    wide = phone.evaluate(
        "[...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest('.wide'))"
        ".map(e => e.tagName + '.' + e.className + ' ' + e.textContent.trim().slice(0, 40))"
    )
    assert wide == []
    shot(phone, "sale-phone")
    assert faults_of(phone) == []
    file = phone.request.get(f"{address}/cars/{CAR}/sale/buyers-file.pdf").body()
    papers = phone.request.get(f"{address}/cars/{CAR}/sale/papers.pdf").body()
    said = words_of(file, tmp_path)
    assert CAMERA.encode() not in file
    for private in ("Odalys", "Brackenford", "Penhalow", agreed.text(), "USD"):
        assert private not in said
    assert "150.00 USD" in words_of(papers, tmp_path)
    assert (agreed - Money(15_000, "USD")).text() in words_of(papers, tmp_path)
    drawn(file, "buyers-file")
    drawn(papers, "sale-papers")

    # Sold; the deposit comes off; a note afterwards; the desk shows the same
    phone.goto(f"{address}/cars/{CAR}/sale")
    unfold(phone)
    assert phone.input_value('form[action$="/sale/sold"] input[name=price]') == str(agreed.major)
    phone.get_by_role("button", name="Sold and paid").click()
    phone.fill("#after textarea, textarea[name=note]", "Asked for the second key; posted it")
    phone.get_by_role("button", name="Note it").click()
    expect(phone.locator("main")).to_contain_text("posted it")
    shot(phone, "sale-sold-phone")
    desk.goto(f"{address}/cars/{CAR}/sale")
    no_side_scroll(desk)
    shot(desk, "sale-sold-desk")
    desk.goto(f"{address}/cars/{CAR}/money")
    with store.reading() as tx:
        profit = money.cost_so_far(tx, CAR).profit
        entries = money.every_entry(tx)
    expect(desk.locator("main .answer").first).to_contain_text(profit.text())
    shot(desk, "money-sold-desk")

    assert cents_off(entries, tmp_path) == {"beancount": 0, "hledger": 0, "ledger": 0}
    assert set(profit_by_judge(entries, car_part(CAR), "USD", tmp_path).values()) == {profit.minor}


def words_of(pdf: bytes, folder: Path) -> str:
    """The words of a PDF as another program reads them."""
    assert shutil.which("pdftotext")
    (folder / "read.pdf").write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", "-layout", str(folder / "read.pdf"), "-"], capture_output=True, check=True, text=True
    )
    return done.stdout


def drawn(pdf: bytes, name: str) -> None:
    """Keep a PDF for the eye when DRIVEOUT_SHOTS names a folder."""
    if folder := os.environ.get("DRIVEOUT_SHOTS"):
        Path(folder, f"{name}.pdf").write_bytes(pdf)
