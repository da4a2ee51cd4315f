"""Working time: which minutes of the clock are worked, and the way between the two.

Worked time is the clock with all breaks cut out. Three maps join them; they differ exactly at the
edges of the windows, where a night lies between one worked minute and the next: work that ends on
Friday evening has ended on Friday evening, and the next work starts on Saturday.
"""

from __future__ import annotations

import datetime
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from driveout.errors import BadEntry

Windows = tuple[tuple[int, int], ...]
DAY_MINUTES = 1440
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
MOST_DAYS = 1100


def merged(windows: Iterable[tuple[int, int]]) -> Windows:
    """Windows in order, empty ones dropped, touching and overlapping ones joined."""
    out: list[tuple[int, int]] = []
    for begin, end in sorted(w for w in windows if w[1] > w[0]):
        if out and begin <= out[-1][1]:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((begin, end))
    return tuple(out)


def common(one: Windows, other: Windows) -> Windows:
    """Stretches that lie in both, each piece apart, so that no piece spans a break of either."""
    out: list[tuple[int, int]] = []
    i = j = 0
    while i < len(one) and j < len(other):
        begin, end = max(one[i][0], other[j][0]), min(one[i][1], other[j][1])
        if begin < end:
            out.append((begin, end))
        if one[i][1] < other[j][1]:
            i += 1
        else:
            j += 1
    return tuple(out)


@dataclass(frozen=True)
class WorkingTime:
    """The maps between clock and worked time of one person.

    Parameters
    ----------
    windows
        Half-open stretches of the clock in which work is done, in order, apart from one another.
    """

    windows: Windows
    before: tuple[int, ...] = field(init=False, repr=False, compare=False)
    ends: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        before = [0]
        for begin, end in self.windows:
            before.append(before[-1] + end - begin)
        object.__setattr__(self, "before", tuple(before))
        object.__setattr__(self, "ends", tuple(end for _, end in self.windows))

    @property
    def total(self) -> int:
        """All worked time there is."""
        return self.before[-1]

    def worked_at(self, clock: int) -> int:
        """Worked time at which work can go on at this moment of the clock or at the next opening.

        Past the last window it goes on as if nobody ever went home, so that what does not fit
        shows as more than `total`.

        Parameters
        ----------
        clock
            Moment of the clock.

        Returns
        -------
        int
            Worked time.

        References
        ----------
        own-reasoning, docs/method/schedule.md.

        Examples
        --------
        >>> evenings = WorkingTime(((18, 21), (42, 45)))
        >>> [evenings.worked_at(clock) for clock in (0, 20, 21, 30, 43)]
        [0, 2, 3, 3, 4]
        """
        k = bisect_right(self.ends, clock)
        if k == len(self.windows):
            return self.total + (clock - self.ends[-1] + 1 if self.ends else clock + 1)
        return self.before[k] + max(0, clock - self.windows[k][0])

    def end_clock(self, worked: int) -> int:
        """Moment of the clock at which work that ends at this worked time has ended.

        Parameters
        ----------
        worked
            Worked time, up to `total`.

        Returns
        -------
        int
            Clock; at the edge of a window its closing, not the next opening.

        Examples
        --------
        >>> WorkingTime(((18, 21), (42, 45))).end_clock(3)
        21
        """
        return self._clock(min(max(bisect_left(self.before, worked) - 1, 0), len(self.windows) - 1), worked)

    def start_clock(self, worked: int) -> int:
        """Moment of the clock at which work that starts at this worked time starts.

        Parameters
        ----------
        worked
            Worked time, under `total`.

        Returns
        -------
        int
            Clock; at the edge of a window the next opening.

        Examples
        --------
        >>> WorkingTime(((18, 21), (42, 45))).start_clock(3)
        42
        """
        k = min(bisect_right(self.before, worked) - 1, len(self.windows) - 1)
        return self._clock(k, worked)

    def _clock(self, k: int, worked: int) -> int:
        if not self.windows:
            return worked
        return self.windows[k][0] + worked - self.before[k]

    def window_of_start(self, worked: int) -> int:
        """Number of the window in which work at this worked time starts."""
        return min(bisect_right(self.before, worked) - 1, len(self.windows) - 1)

    def window_of_end(self, worked: int) -> int:
        """Number of the window in which work up to this worked time ends."""
        return max(bisect_left(self.before, worked) - 1, 0)

    def worked_stretches(self, within: Windows) -> Windows:
        """Pieces of worked time that lie inside some windows of the clock; neighbours stay apart."""
        out = []
        for begin, end in common(self.windows, within):
            worked = self.worked_at(begin)
            out.append((worked, worked + end - begin))
        return tuple(out)


@dataclass(frozen=True)
class WorkCalendar:
    """Free hours of the person who mends, and further windows such as a helper's or daylight.

    Local wall-clock time without zone: an evening stays an evening when the clocks change.

    Parameters
    ----------
    origin
        Day whose midnight is minute 0.
    mine
        When the person works. [min since ``origin``]
    others
        Named windows that single operations are bound to: ``helper``, ``daylight``, a booked
        hoist. [min since ``origin``]
    """

    origin: datetime.date
    mine: Windows
    others: Mapping[str, Windows] = field(default_factory=dict)

    def clock(self, moment: datetime.datetime) -> int:
        """Whole minutes from ``origin`` to a moment of local time, rounded up."""
        start = datetime.datetime.combine(self.origin, datetime.time())
        return -int((start - moment.replace(tzinfo=None)) // datetime.timedelta(minutes=1))

    def moment(self, clock: int) -> datetime.datetime:
        """Local time of a minute of the calendar."""
        return datetime.datetime.combine(self.origin, datetime.time()) + datetime.timedelta(minutes=clock)

    def day(self, clock: int) -> datetime.date:
        """Day on which a minute of the calendar lies."""
        return self.origin + datetime.timedelta(days=clock // DAY_MINUTES)

    def windows(self, who: str = "me") -> Windows:
        """Windows of the person, or of a named other.

        Parameters
        ----------
        who
            ``me`` or a key of ``others``.

        Returns
        -------
        tuple
            The windows.

        Raises
        ------
        BadEntry
            If no such windows are in the calendar.
        """
        if who == "me":
            return self.mine
        if who not in self.others:
            raise BadEntry(
                f"The calendar has no hours for {who!r}. Add its dates, or take it off the work that asks for it.",
                field=who,
                allowed=", ".join(("me", *self.others)),
            )
        return self.others[who]

    def from_start(self, start: datetime.datetime) -> WorkCalendar:
        """The same calendar without what lies before a moment."""
        now = self.clock(start)

        def cut(windows: Windows) -> Windows:
            return tuple((max(begin, now), end) for begin, end in windows if end > now)

        return replace(self, mine=cut(self.mine), others={name: cut(w) for name, w in self.others.items()})

    def on_grid(self, minutes: int) -> WorkCalendar:
        """The same calendar in steps of some minutes, each window rounded inwards."""

        def rounded(windows: Windows) -> Windows:
            return merged((-(-begin // minutes), end // minutes) for begin, end in windows)

        return replace(
            self, mine=rounded(self.mine), others={name: rounded(w) for name, w in self.others.items()}
        )


def week_windows(
    origin: datetime.date,
    days: int,
    week: Mapping[str, Sequence[tuple[datetime.time, datetime.time]]],
    changed: Mapping[datetime.date, Sequence[tuple[datetime.time, datetime.time]]] | None = None,
) -> Windows:
    """Windows of the clock from the free hours of a week and the days that differ.

    Parameters
    ----------
    origin
        First day.
    days
        How many days the calendar holds.
    week
        Free stretches by English weekday name in lower case; a stretch that ends at or before
        its start runs past midnight.
    changed
        Stretches of single days instead of those of the week; empty for a day without work.

    Returns
    -------
    tuple
        Windows in minutes since ``origin``.

    Raises
    ------
    BadEntry
        If a weekday is not known or the number of days is out of range.

    References
    ----------
    own-reasoning, docs/method/schedule.md.

    Examples
    --------
    >>> from datetime import date, time
    >>> week_windows(date(2026, 3, 2), 7, {"tuesday": [(time(18), time(21))]})
    ((2520, 2700),)
    """
    for name in week:
        if name not in WEEKDAYS:
            raise BadEntry(
                f"{name!r} is not a day of the week.", field=name, value=name, allowed=", ".join(WEEKDAYS)
            )
    if not 1 <= days <= MOST_DAYS:
        raise BadEntry(
            f"A calendar of {days} days is outside 1 to {MOST_DAYS}.",
            field="days",
            value=days,
            allowed=f"1 to {MOST_DAYS}",
        )
    windows: list[tuple[int, int]] = []
    for n in range(days):
        day = origin + datetime.timedelta(days=n)
        stretches = (changed or {}).get(day, week.get(WEEKDAYS[day.weekday()], ()))
        for begin, end in stretches:
            first, last = begin.hour * 60 + begin.minute, end.hour * 60 + end.minute
            windows.append((n * 1440 + first, n * 1440 + last + (1440 if last <= first else 0)))
    return merged(windows)
