"""The chapter Plan of days: works, refuses bad entry, loses nothing typed, hands out a calendar file."""

from __future__ import annotations

import pytest

from driveout.cars.actions import add_car
from driveout.repairs.actions import choose_repair, free_hours
from driveout.store import Store
from tests.conftest import Browser, Clock

HOURS = {
    "me_tuesday": "18:00-21:00",
    "me_saturday": "09:00-13:00, 14:00-17:00",
    "helper": "saturday 10:00-13:00\n2026-05-14 18:00-21:00",
    "daylight": "08:00-19:30",
    "off": "2026-05-16",
    "days": "90",
}


@pytest.fixture
def car(store: Store, clock: Clock) -> int:
    with store.writing() as tx:
        made = add_car(
            tx,
            name="Tarnwick <Linnet>, 1.4",
            currency="USD",
            at=clock(),
            stage="in work",
            facts={"drive": "fwd", "gearbox": "manual"},
        ).id
        choose_repair(tx, made, "rep_brake_front", "new", at=clock())
    return made


def test_free_hours_are_asked_for_first(browser: Browser, car: int) -> None:
    assert "Days follow from your free hours" in browser.get(f"/cars/{car}/plan")


def test_typed_hours_give_days_a_picture_and_two_evenings(store: Store, browser: Browser, car: int) -> None:
    text = browser.post(f"/cars/{car}/plan/hours", HOURS)

    assert "Planned finish:" in text
    assert "In 5 of 10 runs done by" in text
    assert "<title id=" in text
    assert 'value="09:00-13:00, 14:00-17:00"' in text
    assert "2026-05-14 18:00-21:00" in text
    with store.reading() as tx:
        kept = free_hours(tx, car)
    assert kept is not None
    assert kept.helper == {"saturday": ["10:00-13:00"], "2026-05-14": ["18:00-21:00"]}
    assert kept.off == ("2026-05-16",)


def test_the_calendar_file_has_an_entry_for_work(browser: Browser, car: int) -> None:
    # source: RFC 5545, section 3.4: an iCalendar object begins and ends so, lines end in CRLF
    browser.post(f"/cars/{car}/plan/hours", HOURS)
    answer = browser.client.get(f"/cars/{car}/plan/days.ics")

    assert answer.headers["content-type"].startswith("text/calendar")
    assert answer.text.startswith("BEGIN:VCALENDAR\r\n")
    assert answer.text.endswith("END:VCALENDAR\r\n")
    assert "SUMMARY:Tarnwick <Linnet>\\, 1.4: " in answer.text.replace("\r\n ", "")


@pytest.mark.parametrize(
    ("field", "typed", "message"),
    [
        ("me_tuesday", "evenings", "not a stretch"),
        ("helper", "sometimes 10:00-12:00", "neither a weekday nor a day"),
        ("off", "16.5.2026", "neither a weekday nor a day"),
        ("days", "0", "days"),
        ("daylight", "noon", "not a stretch"),
    ],
)
def test_hours_that_cannot_be_read_are_refused_and_stay_typed(
    browser: Browser, car: int, field: str, typed: str, message: str
) -> None:
    text = browser.post(f"/cars/{car}/plan/hours", {**HOURS, field: typed}, status=422)

    assert message in text
    assert typed in text
    assert "Days follow from your free hours" in text, "nothing was kept"


def test_no_hours_at_all_are_refused(browser: Browser, car: int) -> None:
    text = browser.post(f"/cars/{car}/plan/hours", {"days": "90"}, status=422)

    assert "Type at least one stretch" in text


def test_a_car_that_there_is_not_is_not_found(browser: Browser) -> None:
    assert browser.client.get("/cars/999/plan").status_code == 404


def test_an_own_plan_is_answered_in_plain_values(browser: Browser) -> None:
    plan = {
        "schema": "driveout-plan/1",
        "start": "2026-03-02 08:00",
        "calendar": {"week": {"tuesday": ["18:00-21:00"]}},
        "work": [{"id": "a", "minutes": 120}, {"id": "b", "minutes": 90, "after": ["a"]}],
    }
    answer = browser.client.post("/api/plan", json=plan).json()

    # by hand: 120 + 90 minutes fill one Tuesday of 180 and 30 minutes of the next
    assert answer["days"]["finish"] == "2026-03-10T18:30"
    assert answer["days"]["is_proven"] is True
    assert browser.client.post("/api/plan", json={**plan, "work": []}).status_code == 422
