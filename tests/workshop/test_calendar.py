"""Working hours, and the way between the clock and worked time."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.errors import BadEntry
from driveout.workshop.calendar import WorkCalendar, WorkingTime, common, merged, week_windows

MONDAY = datetime.date(2026, 3, 2)
SIX, NINE = datetime.time(18), datetime.time(21)


def test_work_that_ends_on_friday_evening_has_ended_then_and_the_next_starts_on_saturday() -> None:
    time = WorkingTime(((1080, 1290), (1980, 2400)))

    assert time.end_clock(210) == 1290
    assert time.start_clock(210) == 1980


def test_a_cure_of_a_day_from_friday_evening_reaches_the_next_opening() -> None:
    """Friday 21:30 and 24 h is Saturday 21:30: work goes on when Sunday opens."""
    friday, saturday, sunday = (1080, 1290), (1980, 2400), (3420, 3900)
    time = WorkingTime((friday, saturday, sunday))
    ends = time.end_clock(210)

    assert ends + 1440 == 1440 + 1290
    assert time.start_clock(time.worked_at(ends + 1440)) == 3420


def test_free_hours_of_the_week_give_way_to_a_day_typed_in() -> None:
    week = {"monday": [(SIX, NINE)], "tuesday": [(SIX, NINE)]}
    changed = {
        datetime.date(2026, 3, 3): [],
        datetime.date(2026, 3, 4): [(datetime.time(8), datetime.time(12))],
    }

    assert week_windows(MONDAY, 7, week, changed) == ((1080, 1260), (2 * 1440 + 480, 2 * 1440 + 720))


def test_a_stretch_may_run_past_midnight() -> None:
    assert week_windows(MONDAY, 1, {"monday": [(datetime.time(22), datetime.time(1))]}) == ((1320, 1500),)


def test_a_day_of_the_week_that_does_not_exist_is_refused() -> None:
    with pytest.raises(BadEntry, match="not a day of the week"):
        week_windows(MONDAY, 7, {"montag": [(SIX, NINE)]})


@pytest.mark.parametrize("days", [0, -3, 100_000])
def test_a_calendar_without_days_or_with_far_too_many_is_refused(days: int) -> None:
    with pytest.raises(BadEntry, match="outside 1 to"):
        week_windows(MONDAY, days, {})


def test_a_calendar_cut_at_now_keeps_the_rest_of_the_evening() -> None:
    calendar = WorkCalendar(MONDAY, ((1080, 1260), (2520, 2700)), {"helper": ((1080, 1140),)})
    now = datetime.datetime.combine(MONDAY, datetime.time(19, 30))
    cut = calendar.from_start(now)

    assert cut.mine == ((1170, 1260), (2520, 2700))
    assert cut.others["helper"] == ()


def test_a_coarser_grid_never_adds_a_minute() -> None:
    calendar = WorkCalendar(MONDAY, ((1081, 1259),)).on_grid(5)

    assert calendar.mine == ((217, 251),)


def test_hours_of_nobody_known_are_named() -> None:
    with pytest.raises(BadEntry, match="no hours for 'neighbour'"):
        WorkCalendar(MONDAY, ()).windows("neighbour")


def test_a_moment_and_its_minute_belong_together() -> None:
    calendar = WorkCalendar(MONDAY, ())
    moment = datetime.datetime.combine(datetime.date(2026, 3, 4), datetime.time(7, 5))

    assert calendar.moment(calendar.clock(moment)) == moment
    assert calendar.clock(moment + datetime.timedelta(seconds=1)) == calendar.clock(moment) + 1


windows = st.lists(
    st.tuples(st.integers(0, 300), st.integers(1, 40)).map(lambda w: (w[0], w[0] + w[1])),
    min_size=1,
    max_size=8,
).map(merged)


@settings(max_examples=60, deadline=None)
@given(windows)
def test_the_maps_agree_with_a_list_of_the_worked_minutes(found: tuple[tuple[int, int], ...]) -> None:
    minutes = [t for a, b in found for t in range(a, b)]
    time = WorkingTime(found)
    assert time.total == len(minutes)
    for n, minute in enumerate(minutes):
        assert time.start_clock(n) == minute
        assert time.end_clock(n + 1) == minute + 1
        assert time.worked_at(time.end_clock(n + 1)) in (n + 1, time.total + 1)
        assert time.end_clock(n + 1) <= time.start_clock(min(n + 1, time.total - 1)) or n + 1 == time.total
    for clock in range(found[0][0] - 2, found[-1][1]):
        assert time.worked_at(clock) == sum(t < clock for t in minutes)


@settings(max_examples=60, deadline=None)
@given(windows, windows)
def test_common_stretches_hold_the_minutes_of_both(
    one: tuple[tuple[int, int], ...], other: tuple[tuple[int, int], ...]
) -> None:
    def minutes(some: tuple[tuple[int, int], ...]) -> set[int]:
        return {t for a, b in some for t in range(a, b)}

    assert minutes(common(one, other)) == minutes(one) & minutes(other)
