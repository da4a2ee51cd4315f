"""Gearbox out, head off, rear brakes and lacquer on one car: planned together, the clutch walked step by step."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Page, expect

from driveout.cars.actions import add_car
from driveout.repairs.actions import choose_repair, days_plan, set_free_hours
from driveout.repairs.days import FreeHours
from driveout.store import Store
from driveout.workshop.actions import work_of
from driveout.workshop.schedule import plan_work
from tests.browser.conftest import shot

pytestmark = pytest.mark.browser

REPAIRS = ("rep_clutch_fwd", "rep_head_gasket", "rep_brake_rear", "rep_panel_paint")
FORGOTTEN = {"off:ground_strap", "off:speed_sensor_plug"}


@pytest.fixture
def car(store: Store) -> int:
    at = store.now()
    with store.writing() as tx:
        made = add_car(
            tx,
            name="Tarnwick Linnet 1.4",
            currency="USD",
            at=at,
            stage="in work",
            facts={"drive": "fwd", "gearbox": "manual"},
        ).id
        for repair in REPAIRS:
            choose_repair(tx, made, repair, "new", at=at)
        week = {day: ["18:00-21:00"] for day in ("monday", "wednesday", "thursday")}
        hours = FreeHours(week | {"saturday": ["09:00-17:00"]}, {"saturday": ["10:00-16:00"]}, "08:00-19:30")
        set_free_hours(tx, made, hours, at=at)
    return made


def step_of(page: Page) -> str:
    return page.locator(
        'form[aria-label="Record this step"] input[name=task], form[aria-label="Hold point"] input[name=task]'
    ).first.input_value()


def record(page: Page) -> None:
    page.locator('form[aria-label="Record this step"] button').first.click()


def answer_and_pass(page: Page) -> None:
    for box in page.locator('input[name^="item-"]').all():
        box.fill("seen and counted")
    page.get_by_role("button", name="Pass the hold point").click()


def test_two_forgotten_links_stop_the_lift_and_nothing_is_left_over(
    phone: Page, address: str, store: Store, car: int, tmp_path: Path
) -> None:
    phone.set_default_timeout(20_000)
    with store.reading() as tx:
        days = plan_work(days_plan(tx, car, at=store.now()))
        tasks = work_of(tx, car, 1).plan.tasks
    assert days.troubles == ()
    phone.goto(f"{address}/cars/{car}/plan")
    expect(phone.locator("main")).to_contain_text(f"Planned finish: {days.finish:%b %-d, %Y}")
    shot(phone, "phone-plan-of-days")

    # The way in, step by step, with one ground strap and one sensor plug left out.
    bench = f"{address}/cars/{car}/work/1/bench"
    for task in tasks:
        if task.id == "hold:strip:draw":
            break
        if task.id not in FORGOTTEN:
            phone.goto(f"{bench}?task={task.id}")
            record(phone)
    phone.goto(f"{bench}?task=hold:strip:draw")
    for box in phone.locator('input[name^="item-"]').all():
        box.fill("seen")
    phone.get_by_role("button", name="Pass the hold point").click()
    expect(phone.locator("#refused")).to_contain_text("Ground strap from the gearbox to the body")
    expect(phone.locator("#refused")).to_contain_text("Speed-sensor plug behind the gearbox")
    shot(phone, "phone-two-forgotten")

    # Caught: both are undone, and from there on the bench leads through to the end.
    for name in sorted(FORGOTTEN):
        phone.goto(f"{bench}?task={name}")
        record(phone)
    phone.goto(bench)
    for _ in range(2 * len(tasks)):
        if phone.locator("main").get_by_text("All steps are done.").count():
            break
        name = step_of(phone)
        if name.startswith("hold:"):
            answer_and_pass(phone)
        else:
            record(phone)
    expect(phone.locator("main")).to_contain_text("Nothing missing, nothing left over")
    shot(phone, "phone-nothing-left-over")

    # The printed cards carry the hold point, and a label's address opens its link.
    for name, words in (("cards", "STOP. What still holds it?"), ("labels", "Ground strap")):
        answer = phone.request.get(f"{address}/cars/{car}/work/1/{name}.pdf")
        (tmp_path / f"{name}.pdf").write_bytes(answer.body())
        text = subprocess.run(
            ["pdftotext", str(tmp_path / f"{name}.pdf"), "-"], capture_output=True, check=True
        )
        assert words in re.sub(r"\s+", " ", text.stdout.decode())
    phone.goto(f"{bench}?task=on:ground_strap")
    assert parse_qs(urlsplit(phone.url).query) == {"task": ["on:ground_strap"]}
    expect(phone.locator("h1")).to_contain_text("Ground strap from the gearbox to the body")
