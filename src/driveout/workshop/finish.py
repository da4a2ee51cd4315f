"""When the car is likely to be finished: the plan of days played through many times.

Durations, one pace of the person for the whole car, days of lateness of parts and things that may
turn up are drawn; the work is done in the planned order, each piece as soon as it can be. The
answers are evenings that were really reached in a run, never something between two evenings.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import Any

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry, CannotSay
from driveout.uncertain.laws import Bounded, Fixed, Law
from driveout.workshop.calendar import DAY_MINUTES, Windows, common
from driveout.workshop.plan import NOBODY, Operation, Plan
from driveout.workshop.schedule import Placed, Schedule

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
PACE_SPREAD = 0.15
"""Standard deviation of the logarithm of the shared pace; common practice, no source."""
SAMPLES = 10_000
MOST_SAMPLES = 200_000


@dataclass(frozen=True)
class Session:
    """A day and the free stretch of it in which something ends.

    Parameters
    ----------
    day
        Calendar day.
    begins, ends
        Free stretch of that day; None when it ends in a wait, outside of working hours.
    moment
        Local time of the run it was taken from.
    is_past_calendar
        The calendar ends before it; give it more days.
    """

    day: datetime.date
    begins: datetime.time | None
    ends: datetime.time | None
    moment: datetime.datetime
    is_past_calendar: bool = False


@dataclass(frozen=True)
class Finish:
    """Chances of the finish.

    Parameters
    ----------
    schedule
        The plan of days that was played through.
    p50, p80
        Session by which 5 and 8 of 10 runs are finished.
    ends
        Finish of every run, in order, minutes of the calendar.
    critical
        For each operation and part: share of runs in which the finish hung on it.
    rental_over
        For each rented thing: share of runs that keep it longer than planned.
    past_calendar
        Share of runs that are not finished within the calendar.
    """

    schedule: Schedule
    p50: Session
    p80: Session
    ends: Floats = field(repr=False)
    critical: Mapping[str, float]
    rental_over: Mapping[str, float]
    past_calendar: float

    def chance_by(self, moment: datetime.datetime) -> float:
        """Share of runs that are finished by a moment of local time."""
        at = self.schedule.plan.calendar.clock(moment)
        return float(np.searchsorted(self.ends, at, side="right") / len(self.ends))


def pert(low: float, likely: float, high: float) -> Law:
    """Beta law between two extremes with weight 4 on the likely value.

    Mean ``(low + 4 likely + high) / 6``. Here low and high are the extremes, as in PERT sheets,
    not P10 and P90; ranges of P10 and P90 go through `driveout.uncertain.fitted`.

    Parameters
    ----------
    low
        Nothing is shorter.
    likely
        Most likely.
    high
        Nothing is longer.

    Returns
    -------
    Law
        The law; a fixed value when the extremes coincide.

    Raises
    ------
    BadEntry
        If the three do not rise.

    References
    ----------
    malcolm-pert-1959.

    Examples
    --------
    >>> pert(4, 5, 12).mean
    6.0
    """
    if not low <= likely <= high:
        raise BadEntry(
            f"The range {low:g} / {likely:g} / {high:g} is out of order; low, likely, high must rise.",
            field="range",
            allowed="low <= likely <= high",
        )
    if low == high:
        return Fixed(likely)
    place = (likely - low) / (high - low)
    return Bounded(low, high, 1.0 + 4.0 * place, 5.0 - 4.0 * place)


def finish_chances(
    schedule: Schedule,
    rng: np.random.Generator,
    *,
    samples: int = SAMPLES,
    pace_spread: float = PACE_SPREAD,
    pace: float = 1.0,
) -> Finish:
    """Play the plan of days through many times.

    Parameters
    ----------
    schedule
        What is to be done, in which order.
    rng
        Where the draws come from.
    samples
        Number of runs.
    pace_spread
        Standard deviation of the logarithm of the pace that all work of a run shares.
    pace
        Median of the pace; 1.2 when work is known to take a fifth longer than written.

    Returns
    -------
    Finish
        Sessions, chances, what the finish hangs on.

    Raises
    ------
    BadEntry
        If the number of runs or the pace is out of range.
    CannotSay
        If no operation has a date.

    References
    ----------
    own-reasoning, docs/method/schedule.md.
    """
    if not 1 <= samples <= MOST_SAMPLES or not pace > 0 or not pace_spread >= 0:
        raise BadEntry(
            f"{samples} runs with pace {pace:g} and spread {pace_spread:g} cannot be played.",
            field="samples",
            value=samples,
            allowed=f"1 to {MOST_SAMPLES} runs, pace above 0, spread 0 or more",
        )
    if not schedule.placed:
        raise CannotSay("Nothing in the plan has a date, so there is no finish to give chances for.")
    runs = _Runs(schedule, rng, samples)
    runs.play(pace * np.exp(rng.normal(0.0, pace_spread, samples)) if pace_spread else np.full(samples, pace))
    finish = runs.finish()
    order = np.argsort(finish, kind="stable")
    ends, past = finish[order], runs.is_past[order]

    def session(share: float) -> Session:
        n = max(ceil(share * samples) - 1, 0)
        return _session(schedule.plan, float(ends[n]), bool(past[n]))

    return Finish(
        schedule=schedule,
        p50=session(0.5),
        p80=session(0.8),
        ends=ends,
        critical=runs.critical(finish),
        rental_over=runs.rental_over(),
        past_calendar=float(past.mean()),
    )


def _session(plan: Plan, clock: float, is_past: bool) -> Session:
    moment = plan.calendar.moment(ceil(clock - 1e-9))
    for begin, end in plan.calendar.mine:
        if begin < clock <= end and not is_past:
            return Session(
                plan.calendar.day(begin),
                plan.calendar.moment(begin).time(),
                plan.calendar.moment(end).time(),
                moment,
            )
    return Session(moment.date(), None, None, moment, is_past)


class _Maps:
    """The maps of working time for many runs at once; past the calendar nobody goes home."""

    def __init__(self, windows: Windows) -> None:
        self.begins = np.array([begin for begin, _ in windows] or [0], dtype=float)
        self.ends = np.array([end for _, end in windows] or [1 << 30], dtype=float)
        self.before = np.concatenate([[0.0], np.cumsum(self.ends - self.begins)])

    def worked_at(self, clock: Floats) -> Floats:
        k = np.searchsorted(self.ends, clock, side="right")
        inside = np.minimum(k, len(self.begins) - 1)
        worked = self.before[inside] + np.maximum(0.0, clock - self.begins[inside])
        beyond = self.before[-1] + np.maximum(0.0, clock - self.ends[-1])
        return np.asarray(np.where(k < len(self.begins), worked, beyond))

    def end_clock(self, worked: Floats) -> Floats:
        k = np.clip(np.searchsorted(self.before, worked, side="left") - 1, 0, len(self.begins) - 1)
        return np.asarray(self.begins[k] + worked - self.before[k])

    def start_clock(self, worked: Floats) -> Floats:
        k = np.clip(np.searchsorted(self.before, worked, side="right") - 1, 0, len(self.begins) - 1)
        return np.asarray(self.begins[k] + worked - self.before[k])


class _Line:
    """One person's work in the planned order."""

    def __init__(self, windows: Windows, samples: int) -> None:
        self.windows = windows
        self.maps = _Maps(windows)
        self.free = np.zeros(samples)
        self.last: str | None = None

    def fitted(
        self, start: Floats, size: Floats, pieces: Sequence[tuple[float, float]], past: Flags
    ) -> Floats:
        """Move starts on to the first allowed piece that holds the work, or any if none does."""
        lows = np.array([a for a, _ in pieces])
        highs = np.array([b for _, b in pieces])
        start = start.copy()
        k = np.searchsorted(highs, start, side="right")
        past |= k >= len(lows)
        k = np.minimum(k, len(lows) - 1)
        start = np.maximum(start, lows[k])
        longest = float((highs - lows).max())
        late = np.flatnonzero((start + size > highs[k] + 1e-9) & (size <= longest) & (start < highs[k]))
        while len(late):
            k[late] += 1
            late, over = late[k[late] < len(lows)], late[k[late] >= len(lows)]
            past[over] = True
            start[late] = lows[k[late]]
            late = late[start[late] + size[late] > highs[k[late]] + 1e-9]
        return start


class _Runs:
    def __init__(self, schedule: Schedule, rng: np.random.Generator, samples: int) -> None:
        self.schedule, self.plan, self.rng, self.samples = schedule, schedule.plan, rng, samples
        calendar = self.plan.calendar.from_start(self.plan.start)
        self.calendar = calendar
        self.now = float(self.plan.calendar.clock(self.plan.start))
        people = {p.operation.who for p in schedule.placed} - {NOBODY}
        self.lines = {who: _Line(calendar.windows(who), samples) for who in people}
        self.begin: dict[str, Floats] = {}
        self.end: dict[str, Floats] = {}
        self.worked_end: dict[str, Floats] = {}
        self.hangs: dict[str, list[tuple[str, Flags | None]]] = {}
        self.is_past = np.zeros(samples, dtype=bool)
        self.booked = self._booked()
        self.arrival = {part.id: self._arrival(part.id) for part in self.plan.arrivals if part.at is not None}
        self.on_clock = {
            a.operation
            for p in schedule.placed
            for a in p.operation.after
            if a.wait_minutes or p.operation.who == NOBODY or self._who(a.operation) != p.operation.who
        }

    def _who(self, name: str) -> str:
        return self.plan.by_id[name].who

    def _booked(self) -> dict[str, float]:
        """A rented thing is fetched on the planned day, not sooner because work went well."""
        first: dict[str, float] = {}
        for p in self.schedule.placed:
            if p.operation.rental:
                clock = float(self.plan.calendar.clock(p.start))
                first[p.operation.rental] = min(first.get(p.operation.rental, clock), clock)
        return first

    def _arrival(self, name: str) -> Floats:
        part = self.plan.arrival[name]
        assert part.at is not None
        clock = np.full(self.samples, float(self.plan.calendar.clock(part.at)))
        if part.late_days is not None:
            clock = clock + DAY_MINUTES * part.late_days.sample(self.rng, self.samples)
        return np.asarray(np.maximum(clock, self.now))

    def play(self, pace: Floats) -> None:
        for placed in self.schedule.placed:
            operation = placed.operation
            size = self._size(operation, pace)
            if operation.who == NOBODY:
                ready, causes = self._ready(operation, set())
                self.begin[operation.id] = ready
                self.end[operation.id] = ready + size
                self.hangs[operation.id] = _binding(ready, causes)
            else:
                self._work(placed, size)

    def _size(self, operation: Operation, pace: Floats) -> Floats:
        minutes = self.plan.minutes(operation)
        if operation.spread is None:
            size = np.full(self.samples, float(minutes))
        else:
            share = minutes / operation.minutes if operation.minutes else 1.0
            size = np.maximum(operation.spread.sample(self.rng, self.samples), 0.0) * share
        if operation.hidden is not None:
            found = np.flatnonzero(self.rng.random(self.samples) < operation.hidden.chance)
            size[found] += np.maximum(operation.hidden.more.sample(self.rng, len(found)), 0.0)
        return size if operation.who == NOBODY else np.asarray(size * pace)

    def _ready(self, operation: Operation, skip: set[str]) -> tuple[Floats, list[tuple[str, Floats]]]:
        """Clock at which an operation could start, and what that comes from."""
        causes: list[tuple[str, Floats]] = []
        earliest = self.booked.get(operation.rental, self.now) if operation.rental else self.now
        ready = np.full(self.samples, earliest)
        for after in operation.after:
            if after.operation in self.plan.done:
                moment = self.plan.calendar.clock(self.plan.done[after.operation]) + after.wait_minutes
                ready = np.maximum(ready, moment)
            elif after.operation not in skip:
                causes.append((after.operation, self.end[after.operation] + after.wait_minutes))
        causes += [(part, self.arrival[part]) for part in operation.parts]
        for _, clock in causes:
            ready = np.maximum(ready, clock)
        return ready, causes

    def _work(self, placed: Placed, size: Floats) -> None:
        operation = placed.operation
        line = self.lines[operation.who]
        # Work of the same person without a wait is earlier on the same line: it cannot be the later one.
        skip = {
            a.operation
            for a in operation.after
            if not a.wait_minutes
            and a.operation in self.worked_end
            and self._who(a.operation) == operation.who
        }
        start = line.free
        hangs: list[tuple[str, Flags | None]] = []
        begins_later = bool(operation.rental) or line.last is None
        if begins_later or any(a.operation not in skip for a in operation.after) or operation.parts:
            ready, causes = self._ready(operation, skip)
            at = line.maps.worked_at(ready)
            start = np.maximum(start, at)
            waits = at > line.free
            hangs = [(name, mask & waits) for name, mask in _binding(ready, causes) if mask is not None]
            if line.last is not None:
                hangs.append((line.last, ~waits))
        elif line.last is not None:
            hangs = [(line.last, None)]
        if operation.only_in or not operation.is_splittable:
            pieces = self._pieces(line, operation)
            if pieces:
                start = line.fitted(start, size, pieces, self.is_past)
        end = start + size
        line.free, line.last = end, operation.id
        self.hangs[operation.id] = hangs
        self.worked_end[operation.id] = end
        if operation.rental:
            self.begin[operation.id] = line.maps.start_clock(start)
        if operation.rental or operation.id in self.on_clock:
            self.end[operation.id] = line.maps.end_clock(end)

    def _pieces(self, line: _Line, operation: Operation) -> list[tuple[float, float]]:
        within: Windows = line.windows
        for name in operation.only_in:
            within = common(within, self.calendar.windows(name))
        maps = line.maps
        out: list[tuple[float, float]] = []
        for begin, end in within:
            a = float(maps.worked_at(np.array([float(begin)]))[0])
            b = a + end - begin
            if operation.is_splittable and out and out[-1][1] == a:
                out[-1] = (out[-1][0], b)
            else:
                out.append((a, b))
        return out

    def finish(self) -> Floats:
        """Clock at which everything is finished, in each run."""
        ends = [end for name, end in self.end.items() if self._who(name) == NOBODY]
        for line in self.lines.values():
            if line.last is not None:
                self.is_past |= line.free > line.maps.before[-1] + 1e-9
                clock = line.maps.end_clock(line.free)
                self.end[line.last] = clock
                ends.append(clock)
        return np.asarray(np.max(np.stack(ends), axis=0))

    def critical(self, finish: Floats) -> dict[str, float]:
        """Walk back from the finish over what each start hung on."""
        flags: dict[str, Flags] = {}
        for placed in reversed(self.schedule.placed):
            name = placed.operation.id
            flag = flags.pop(name, None)
            ended = self.end.get(name)
            if ended is not None:
                at_end = ended >= finish - 1e-9
                flag = at_end if flag is None else flag | at_end
            if flag is None:
                continue
            flags[name] = flag
            for source, mask in self.hangs[name]:
                new = flag if mask is None else flag & mask
                flags[source] = new if source not in flags else flags[source] | new
        return {name: float(flag.mean()) for name, flag in flags.items()}

    def rental_over(self) -> dict[str, float]:
        """Share of runs in which each rented thing is kept longer than planned."""
        over = {}
        for rental in self.plan.rentals:
            names = [p.operation.id for p in self.schedule.placed if p.operation.rental == rental.id]
            names = [name for name in names if name in self.begin]
            if not names:
                continue
            first = np.min(np.stack([self.begin[n] for n in names]), axis=0) // DAY_MINUTES
            since = [
                self.plan.calendar.clock(self.plan.done[o.id]) // DAY_MINUTES
                for o in self.plan.operations
                if o.rental == rental.id and o.id in self.plan.done
            ]
            first = np.minimum(first, min(since)) if since else first
            last = (np.max(np.stack([self.end[n] for n in names]), axis=0) - 1e-6) // DAY_MINUTES
            over[rental.id] = float((last - first + 1 > self.schedule.rental_days[rental.id]).mean())
        return over


def _binding(ready: Floats, causes: Sequence[tuple[str, Floats]]) -> list[tuple[str, Flags | None]]:
    return [(name, clock >= ready - 1e-9) for name, clock in causes]


def finish_as_data(finish: Finish) -> dict[str, Any]:
    """JSON shape of the chances of the finish.

    Parameters
    ----------
    finish
        What was played through.

    Returns
    -------
    dict
        ``driveout-finish/1``.
    """

    def session(one: Session) -> dict[str, Any]:
        return {
            "day": one.day.isoformat(),
            "begins": one.begins.isoformat(timespec="minutes") if one.begins else None,
            "ends": one.ends.isoformat(timespec="minutes") if one.ends else None,
            "is_past_calendar": one.is_past_calendar,
        }

    hangs = sorted(finish.critical.items(), key=lambda item: -item[1])
    return {
        "schema": "driveout-finish/1",
        "runs": len(finish.ends),
        "planned": finish.schedule.finish.isoformat(timespec="minutes"),
        "chance_of_planned": round(finish.chance_by(finish.schedule.finish), 4),
        "p50": session(finish.p50),
        "p80": session(finish.p80),
        "hangs_on": {name: round(share, 4) for name, share in hangs},
        "rental_over": {name: round(share, 4) for name, share in finish.rental_over.items()},
        "past_calendar": round(finish.past_calendar, 4),
    }
