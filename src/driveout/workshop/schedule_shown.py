"""The plan of days as a picture and as a calendar file."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from html import escape

from driveout.workshop.plan import NOBODY
from driveout.workshop.schedule import Placed, Schedule

WIDTH, LEFT, RIGHT, TOP, ROW, BAR = 358, 70, 18, 44, 34, 22
LEAST_LABEL_PX = 16
MOST_ROWS = 120


def chart_words(schedule: Schedule) -> str:
    """The picture in words."""
    if not schedule.placed:
        return "Nothing has a date yet."
    work = sum(1 for p in schedule.placed if p.operation.who != NOBODY)
    waits, days = len(schedule.placed) - work, len(_days(schedule))
    return (
        f"{_count(work, 'piece')} of work and {_count(waits, 'wait')} on {_count(days, 'day')}, "
        f"finished {_long(schedule.finish)}. {schedule.proof}"
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def chart(schedule: Schedule, name: str = "days") -> str:
    """Draw the plan of days: one row a day, work as numbered boxes, waits as dashed lines below.

    Numbers are those of the list of operations by start, from 1. Work that needs a second person
    has a double edge, work with a rented thing a thick foot; colour carries nothing.

    Parameters
    ----------
    schedule
        The plan of days.
    name
        Unique on the page; ids are made from it.

    Returns
    -------
    str
        SVG markup with title and description, 358 units wide.
    """
    days = _days(schedule)[:MOST_ROWS]
    first, last = _hours(schedule, set(days))
    height = TOP + ROW * max(len(days), 1) + 8

    def x(minute: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (minute - first) / (last - first)

    out = [
        f'<svg role="img" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}" '
        f'aria-labelledby="{name}-t {name}-d" xmlns="http://www.w3.org/2000/svg" font-size="12">',
        f'<title id="{name}-t">Plan of days</title>',
        f'<desc id="{name}-d">{escape(chart_words(schedule))}</desc>',
    ]
    step = 60 if last - first <= 8 * 60 else 180
    for minute in range(-(-first // step) * step, last + 1, step):
        out.append(
            f'<path d="M{x(minute):.1f} {TOP - 6}V{height - 8}" stroke="currentColor" stroke-opacity="0.25"/>'
            f'<text x="{x(minute):.1f}" y="{TOP - 12}" text-anchor="middle" fill="currentColor">'
            f"{minute // 60 % 24}:00</text>"
        )
    row = {day: n for n, day in enumerate(days)}
    for day, n in row.items():
        y = TOP + ROW * n
        out.append(
            f'<text x="2" y="{y + 16}" fill="currentColor">{day:%a} {day.day} {day:%b}</text>'
            f'<path d="M{LEFT} {y + ROW - 2}H{WIDTH - RIGHT}" stroke="currentColor" stroke-opacity="0.25"/>'
        )
    for number, placed in enumerate(schedule.placed, start=1):
        for begin, end in _by_day(placed):
            if begin.date() in row:
                y = TOP + ROW * row[begin.date()]
                a = x(max(_minute(begin), first))
                b = x(min(_minute(begin) + (end - begin).total_seconds() / 60, last))
                if b > a:
                    out.append(_box(placed, number, a, b, y))
    out.append("</svg>")
    return "".join(out)


def _box(placed: Placed, number: int, a: float, b: float, y: float) -> str:
    words = f"<title>{number}. {escape(placed.operation.title)}</title>"
    if placed.operation.who == NOBODY:
        return (
            f'<path d="M{a:.1f} {y + BAR + 5}H{b:.1f}" fill="none" stroke="currentColor" '
            f'stroke-width="2" stroke-dasharray="3 3">{words}</path>'
        )
    parts = [
        f'<rect x="{a:.1f}" y="{y}" width="{b - a:.1f}" height="{BAR}" fill="currentColor" '
        f'fill-opacity="0.12" stroke="currentColor"/>'
    ]
    if placed.operation.only_in and b - a > 5:
        parts.append(
            f'<rect x="{a + 2:.1f}" y="{y + 2}" width="{b - a - 4:.1f}" height="{BAR - 4}" fill="none" '
            'stroke="currentColor"/>'
        )
    if placed.operation.rental:
        parts.append(f'<path d="M{a:.1f} {y + BAR}H{b:.1f}" stroke="currentColor" stroke-width="4"/>')
    if b - a >= LEAST_LABEL_PX:
        parts.append(
            f'<text x="{(a + b) / 2:.1f}" y="{y + 16}" text-anchor="middle" fill="currentColor">{number}</text>'
        )
    return f"<g>{words}{''.join(parts)}</g>"


def _days(schedule: Schedule) -> list[datetime.date]:
    return sorted(
        {begin.date() for p in schedule.placed if p.operation.who != NOBODY for begin, _ in _by_day(p)}
    )


def _hours(schedule: Schedule, days: set[datetime.date]) -> tuple[int, int]:
    """First and last minute of the day that any row needs, on full hours."""
    spans = [
        (_minute(begin), _minute(begin) + (end - begin).total_seconds() / 60)
        for p in schedule.placed
        if p.operation.who != NOBODY
        for begin, end in _by_day(p)
        if begin.date() in days
    ]
    first = int(min((a for a, _ in spans), default=18 * 60) // 60) * 60
    last = -int(-max((b for _, b in spans), default=21 * 60) // 60) * 60
    return first, max(last, first + 60)


def _minute(moment: datetime.datetime) -> float:
    return moment.hour * 60 + moment.minute


def _by_day(placed: Placed) -> list[tuple[datetime.datetime, datetime.datetime]]:
    """Stretches cut at midnight."""
    out = []
    for begin, end in placed.stretches:
        while begin.date() < end.date() and end > begin:
            midnight = datetime.datetime.combine(begin.date() + datetime.timedelta(days=1), datetime.time())
            out.append((begin, min(midnight, end)))
            begin = midnight
        if end > begin:
            out.append((begin, end))
    return out


def _long(moment: datetime.datetime) -> str:
    return f"{moment:%A} {moment.day} {moment:%B} {moment.year} at {moment:%H:%M}"


def ics(schedule: Schedule, stamp: datetime.datetime) -> str:
    """The plan of days as a calendar file: one entry for each stretch of work, in local time.

    Parameters
    ----------
    schedule
        The plan of days.
    stamp
        When the file is made, UTC.

    Returns
    -------
    str
        An iCalendar object; lines end in CRLF and are folded at 75 octets.

    References
    ----------
    rfc-5545, sections 3.1, 3.3.5, 3.3.11 and 3.6.1.
    """
    made = f"{stamp:%Y%m%dT%H%M%SZ}"
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//driveout//plan of days//EN", "CALSCALE:GREGORIAN"]
    for placed in schedule.placed:
        if placed.operation.who == NOBODY:
            continue
        for n, (begin, end) in enumerate(placed.stretches):
            if end <= begin:
                continue
            more = f" ({n + 1} of {len(placed.stretches)})" if len(placed.stretches) > 1 else ""
            notes = []
            if placed.operation.only_in:
                notes.append("Needs: " + ", ".join(placed.operation.only_in))
            if placed.operation.rental:
                notes.append("Rented: " + placed.operation.rental)
            title = (
                f"{schedule.plan.title}: {placed.operation.title}"
                if schedule.plan.title
                else placed.operation.title
            )
            lines += [
                "BEGIN:VEVENT",
                f"UID:{_uid(schedule.plan.title, placed.operation.id, n)}",
                f"DTSTAMP:{made}",
                f"DTSTART:{begin:%Y%m%dT%H%M%S}",
                f"DTEND:{end:%Y%m%dT%H%M%S}",
                f"SUMMARY:{_escaped(title + more)}",
                *([f"DESCRIPTION:{_escaped('. '.join(notes))}"] if notes else []),
                "END:VEVENT",
            ]
    lines.append("END:VCALENDAR")
    return "".join(folded + "\r\n" for line in lines for folded in _folded(line))


def _uid(title: str, operation: str, n: int) -> str:
    """Same entry, same name: a second import moves an entry instead of doubling it."""
    plain = "".join(c if c.isascii() and c.isalnum() else f"-{ord(c):x}" for c in f"{title}/{operation}")
    return f"{plain}-{n}@driveout.invalid"


def _escaped(text: str) -> str:
    text = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return "".join("\\n" if c == "\n" else c for c in text if c == "\n" or ord(c) >= 32)


def _folded(line: str) -> Iterable[str]:
    """Cut a line so that no piece has more than 75 octets and no character is torn."""
    piece, size = "", 0
    for c in line:
        octets = len(c.encode())
        if size + octets > 75:
            yield piece
            piece, size = " ", 1
        piece += c
        size += octets
    yield piece
