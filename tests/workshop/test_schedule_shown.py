"""The plan of days as a picture and as a calendar file."""

from __future__ import annotations

import datetime
import xml.etree.ElementTree as ET
from dataclasses import replace

from driveout.workshop.plan import After, Operation, Plan, Rental
from driveout.workshop.schedule import plan_work
from driveout.workshop.schedule_shown import chart, chart_words, ics
from tests.workshop.test_schedule import a_plan, at

SVG = "{http://www.w3.org/2000/svg}"
STAMP = datetime.datetime.combine(datetime.date(2026, 3, 1), datetime.time(12), datetime.UTC)


def a_week() -> Plan:
    plan = a_plan(
        Operation("a", "Front off <bumper & lamps>", 240),
        Operation("cure", "Sealant cures", 22 * 60, (After("a"),), who="nobody"),
        Operation("b", "Lift; mind the lines, both sides", 60, (After("cure"),), only_in=("helper",)),
        Operation("c", "Engine in", 200, (After("b"),), is_splittable=False, rental="hoist"),
        title="Linnet",
        rentals=(Rental("hoist", "hoist", 1000),),
    )
    return replace(plan, calendar=replace(plan.calendar, others={"helper": plan.calendar.mine}))


def test_the_picture_has_a_row_for_each_working_day_and_says_itself_in_words() -> None:
    schedule = plan_work(a_week())
    root = ET.fromstring(chart(schedule))
    days = {begin.date() for p in schedule.placed if p.operation.who == "me" for begin, _ in p.stretches}
    labels = [e.text or "" for e in root.iter(f"{SVG}text")]

    assert sum(f"{day:%a} {day.day} {day:%b}" in labels for day in days) == len(days)
    assert root.find(f"{SVG}desc").text == chart_words(schedule)  # type: ignore[union-attr]
    assert "3 pieces of work and 1 wait on" in chart_words(schedule)


def test_every_piece_is_drawn_inside_the_picture_with_its_number() -> None:
    schedule = plan_work(a_week())
    root = ET.fromstring(chart(schedule))
    width = float(root.attrib["width"])
    boxes = list(root.iter(f"{SVG}rect"))
    titles = {e.text for g in root.iter(f"{SVG}g") for e in g.iter(f"{SVG}title")}

    assert len(boxes) >= 4  # the first piece has two evenings
    assert all(
        float(b.attrib["x"]) >= 0 and float(b.attrib["x"]) + float(b.attrib["width"]) <= width for b in boxes
    )
    assert "1. Front off <bumper & lamps>" in titles


def test_work_past_midnight_is_drawn_on_both_days() -> None:
    plan = a_plan(Operation("a", "a", 120))
    plan = replace(plan, calendar=replace(plan.calendar, mine=((23 * 60, 25 * 60),)))
    root = ET.fromstring(chart(plan_work(plan)))

    assert len(list(root.iter(f"{SVG}rect"))) == 2


def test_a_plan_without_dates_still_has_a_picture() -> None:
    schedule = plan_work(a_plan())

    assert "Nothing has a date yet" in chart(schedule)
    assert ics(schedule, STAMP).count("BEGIN:VEVENT") == 0


def unfolded(text: str) -> list[str]:
    """RFC 5545, 3.1: a CRLF followed by one space or tab is not there."""
    return text.replace("\r\n ", "").replace("\r\n\t", "").split("\r\n")


def test_the_calendar_file_keeps_the_rules_of_its_standard() -> None:
    """RFC 5545: lines of at most 75 octets ending in CRLF; each event has UID, DTSTAMP, DTSTART, DTEND."""
    plan = a_week()
    long = replace(plan, title="Übergroßes Vorhaben mit Öl, Kühlmittel und Bremsen " * 3)
    text = ics(plan_work(long), STAMP)
    lines = text.split("\r\n")

    assert text.endswith("END:VCALENDAR\r\n")
    assert "\n" not in text.replace("\r\n", "")
    assert all(len(line.encode()) <= 75 for line in lines)
    assert unfolded(text)[0] == "BEGIN:VCALENDAR"
    events = text.split("BEGIN:VEVENT")[1:]
    assert all(
        all(f"\r\n{key}:" in event for key in ("UID", "DTSTAMP", "DTSTART", "DTEND")) for event in events
    )
    uids = [line for line in unfolded(text) if line.startswith("UID:")]
    assert len(uids) == len(set(uids)) == len(events) == 4


def test_text_in_the_calendar_file_is_escaped_as_its_standard_says() -> None:
    """RFC 5545, 3.3.11: backslash before comma, semicolon and backslash; a line feed is written as n."""
    lines = unfolded(ics(plan_work(a_week()), STAMP))

    assert r"SUMMARY:Linnet: Lift\; mind the lines\, both sides" in lines
    assert "DESCRIPTION:Rented: hoist" in lines
    broken = ics(plan_work(a_plan(Operation("a", "one\ntwo\\three\r\x07", 30))), STAMP)
    assert r"SUMMARY:one\ntwo\\three" in unfolded(broken)


def test_times_in_the_calendar_file_are_local_and_those_of_the_plan() -> None:
    """RFC 5545, 3.3.5 form 1: no zone and no Z, the hour on the wall."""
    lines = unfolded(ics(plan_work(a_plan(Operation("a", "a", 60))), STAMP))

    assert f"DTSTART:{at(2, 18):%Y%m%dT%H%M%S}" in lines
    assert f"DTEND:{at(2, 19):%Y%m%dT%H%M%S}" in lines
    assert "DTSTAMP:20260301T120000Z" in lines
