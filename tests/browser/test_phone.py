"""A phone on the network, the installed pages offline, two at one car, and job cards with no network at all."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, expect

from driveout.app import web_app
from driveout.demo.actions import fill
from driveout.store import Store
from driveout.web.listening import Listening, own_address
from driveout.workshop import actions as work
from tests.browser.conftest import PHONE, open_page, shot
from tests.browser.test_accessible import faults_of
from tests.conftest import Clock

pytestmark = pytest.mark.browser


@pytest.fixture
def lan(store: Store) -> Iterator[tuple[str, str]]:
    """A record served on loopback and on the network: the two addresses to open."""
    network = own_address()
    assert network, "this machine has no network address"
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    where = Listening((network,), (network,), port)
    config = uvicorn.Config(
        web_app(store, where), host="0.0.0.0", port=port, log_level="error", proxy_headers=False
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    for _ in range(200):
        if server.started:
            break
        time.sleep(0.02)
    yield f"http://localhost:{port}", f"http://{network}:{port}"
    server.should_exit = True
    thread.join(5)


def test_a_phone_is_paired_by_the_code_and_the_secret_never_reaches_an_address_line(
    lan: tuple[str, str], desk: Page, phone: Page, store: Store
) -> None:
    at_machine, at_network = lan
    fill(store)
    asked: list[str] = []
    phone.context.on("request", lambda request: asked.append(request.url))
    phone.goto(at_network + "/")
    expect(phone.get_by_text("Pair this phone first")).to_be_visible()
    shot(phone, "phone-not-paired")

    desk.goto(at_machine + "/crew")
    desk.get_by_label("Name").fill("M. Penhalow")
    desk.get_by_role("button", name="Add", exact=True).click()
    desk.get_by_role("button", name="Pair a phone").click()
    secret = desk.locator(".typed").inner_text()
    shot(desk, "desk-crew-pairing")
    assert faults_of(desk) == []

    phone.goto(f"{at_network}/pair#{secret.replace('-', '')}")
    assert phone.get_by_label("Code").input_value() == secret.replace("-", "")
    assert "#" not in phone.url
    shot(phone, "phone-pair")
    assert faults_of(phone) == []
    phone.get_by_label("What you call this phone").fill("garage phone")
    phone.get_by_role("button", name="Pair").click()
    expect(phone.get_by_role("heading", name="On this device")).to_be_visible()
    expect(phone.get_by_text("keeps no pages for reading offline")).to_be_visible()
    shot(phone, "phone-settings-lan")
    phone.goto(at_network + "/cars/2/advert")
    expect(phone.get_by_text("M. Penhalow, hand")).to_be_visible()
    assert not [url for url in asked if secret.replace("-", "") in url.partition("#")[0]]

    desk.goto(at_machine + "/crew")
    expect(desk.get_by_text("garage phone")).to_be_visible()
    desk.get_by_role("button", name="Take away").click()
    phone.goto(at_network + "/")
    expect(phone.get_by_text("Pair this phone first")).to_be_visible()


def test_pages_read_before_are_there_offline_with_their_time_and_a_form_is_never_kept(
    chromium: Browser, address: str, store: Store
) -> None:
    fill(store)
    page = open_page(chromium, PHONE)
    page.goto(address + "/settings")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    expect(page.get_by_text("keeps the pages that you have read here")).to_be_visible()
    page.goto(address + "/cars/2/money")
    page.goto(address + "/")
    page.context.set_offline(True)

    page.goto(address + "/cars/2/money")
    expect(page.locator(".offline")).to_contain_text("this is as of")
    shot(page, "phone-offline-read")
    assert faults_of(page) == []
    page.get_by_label("Time", exact=False).first.fill("1.25", force=True)
    form = page.locator('form[action$="/money/hours"]')
    form.evaluate(
        "form => { form.noValidate = true; form.querySelectorAll('details').forEach(d => d.open = true); }"
    )
    form.evaluate("form => form.submit()")
    expect(page.get_by_role("heading", name="Not sent")).to_be_visible()
    expect(page.get_by_text("1.25")).to_be_visible()
    shot(page, "phone-offline-not-sent")
    page.goto(address + "/rules")
    expect(page.get_by_text("has not been read on this phone before")).to_be_visible()

    page.context.set_offline(False)
    page.goto(address + "/cars/2/money")
    assert page.get_by_text("You are offline:").count() == 0
    kept = page.evaluate(
        "caches.open('driveout-read-1').then(c => c.keys()).then(k => k.map(r => r.method + ' ' + new URL(r.url).pathname))"
    )
    assert all(one.startswith("GET ") for one in kept)
    assert "GET /cars/2/money/hours" not in kept
    with store.reading() as tx:
        from driveout.money.actions import minutes_by_work

        assert sum(minutes_by_work(tx, [2]).values()) == 0
    page.context.close()


def test_two_at_the_rules_the_later_sees_both_side_by_side(
    chromium: Browser, address: str, store: Store
) -> None:
    first, second = (open_page(chromium, PHONE) for _ in range(2))
    for page in (first, second):
        page.goto(address + "/rules")
    first.get_by_label("What an own hour must bring").fill("31")
    first.locator('form[action="/rules"] button').last.click()
    second.get_by_label("What an own hour must bring").fill("44")
    second.locator('form[action="/rules"] button').last.click()

    expect(second.get_by_role("heading", name="Changed by two at once")).to_be_visible()
    row = second.get_by_role("row", name="What an own hour must bring")
    expect(row.get_by_role("cell")).to_have_text(["44", "31"])
    shot(second, "phone-both-versions")
    assert faults_of(second) == []
    assert second.evaluate("document.documentElement.scrollWidth") <= 390
    second.get_by_role("button", name="Put mine over it").click()
    second.goto(address + "/rules")
    assert second.get_by_label("What an own hour must bring").input_value() == "44"
    for page in (first, second):
        page.context.close()


def test_job_cards_keep_ticks_with_no_network_and_bring_them_home(
    chromium: Browser, address: str, store: Store, clock: Clock, tmp_path: Path
) -> None:
    fill(store)
    with store.writing() as tx:
        job = work.start_work(tx, 2, "brakes_front_disc", ["pads_only"], at=clock())
        file = tmp_path / "job-cards.html"
        file.write_text(work.pocket_of(tx, 2, at=clock()))
    page = open_page(chromium, PHONE)
    asked: list[str] = []
    page.context.on("request", lambda request: asked.append(request.url))
    page.context.set_offline(True)
    page.goto(file.as_uri())
    shot(page, "phone-job-cards")
    assert faults_of(page) == []
    page.emulate_media(color_scheme="dark")
    assert faults_of(page) == []
    shot(page, "phone-job-cards-dark")
    page.locator("[id^=tick-]").first.check()
    page.locator("#hours").fill("1,5")
    page.get_by_role("button", name="Add").click()
    page.goto(file.as_uri())
    assert page.locator("[id^=tick-]").first.is_checked()
    expect(page.locator("#progress")).to_contain_text("2 entries to hand back")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.get_by_role("button", name="Show as text").click()
    text = page.locator("#text").input_value()
    assert len(json.loads(text)["entries"]) == 2
    assert all(url.startswith("file:") for url in asked)

    page.context.set_offline(False)
    page.goto(address + "/cars/2/work/brought")
    page.get_by_label("Or its text").fill(text)
    page.get_by_role("button", name="Hand in").click()
    expect(page.get_by_text("2 entries, 0 to look at")).to_be_visible()
    shot(page, "phone-brought-back")
    assert faults_of(page) == []
    with store.reading() as tx:
        assert work.work_of(tx, 2, job.id).work.finished_count == 1
    page.context.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_choice_of_light_or_dark_outranks_the_system(chromium: Browser, address: str, theme: str) -> None:
    other = "dark" if theme == "light" else "light"
    page = open_page(chromium, PHONE, color_scheme=other)
    page.goto(address + "/settings")
    before = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.get_by_label("Light or dark").select_option(theme)
    page.get_by_role("button", name="Keep on this device").click()
    after = page.evaluate("getComputedStyle(document.body).backgroundColor")

    assert before != after
    shot(page, f"phone-settings-{theme}")
    page.context.close()


def test_the_page_is_reached_by_keyboard_past_the_header(desk: Page, address: str) -> None:
    desk.goto(address + "/")
    desk.keyboard.press("Tab")
    skip = desk.locator(":focus")
    expect(skip).to_have_text("Skip to the page")
    # WCAG 2.2, 2.4.1 Bypass Blocks and 2.4.7 Focus Visible.
    assert skip.evaluate(
        "node => node.getBoundingClientRect().left >= 0 && getComputedStyle(node).outlineStyle !== 'none'"
    )
    desk.keyboard.press("Enter")
    assert desk.evaluate("document.activeElement.id") == "main"


def test_at_double_size_nothing_scrolls_sideways(chromium: Browser, address: str, store: Store) -> None:
    """WCAG 2.2, 1.4.10 Reflow: 320 CSS pixels wide, what 640 pixels are at 200 %."""
    page = open_page(chromium, {"width": 320, "height": 400})
    for path in ("/", "/crew", "/settings", "/pair"):
        page.goto(address + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, path
    page.context.close()


def test_who_wants_no_motion_gets_none(chromium: Browser, address: str) -> None:
    page = open_page(chromium, PHONE, reduced_motion="reduce")
    page.goto(address + "/settings")

    moving = page.evaluate(
        "document.getAnimations().length + [...document.querySelectorAll('*')].filter(n => "
        "getComputedStyle(n).animationName !== 'none' || parseFloat(getComputedStyle(n).transitionDuration) > 0).length"
    )
    assert moving == 0
    page.context.close()
