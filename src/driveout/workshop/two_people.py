"""Plans in which a second person works alone: both lines on the clock.

Each piece may start where all breaks inside it come to the same length, so its end follows from
its start. Slower to prove than worked time, so used only when it must be.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from driveout.workshop.calendar import DAY_MINUTES, Windows, WorkingTime, common
from driveout.workshop.compressed import Hired, allowed_starts, steps_of
from driveout.workshop.dispatch import Line
from driveout.workshop.plan import ME, NOBODY, Operation, Plan
from driveout.workshop.schedule_model import ClockPiece, solve_on_clock


@dataclass(frozen=True)
class OnClock:
    """Start and end of each placed operation on the clock, in steps; who had no room; the proof."""

    times: dict[str, tuple[int, int]]
    no_room: tuple[str, ...]
    is_proven: bool


def is_needed(operations: Sequence[Operation]) -> bool:
    """Whether somebody but the person works alone."""
    return any(o.who not in (ME, NOBODY) for o in operations)


def plan_on_clock(
    plan: Plan,
    operations: Sequence[Operation],
    seconds: float,
    *,
    deterministic: bool = False,
) -> OnClock:
    """Place open operations of several people.

    Parameters
    ----------
    plan
        The plan they are of.
    operations
        In an order that keeps their waits.
    seconds
        Longest time of the solver. [s]
    deterministic
        One thread.

    Returns
    -------
    OnClock
        Times in steps of the plan's grid.
    """
    pieces, edges = _pieces(plan, operations)
    number = {o.id: n for n, o in enumerate(operations)}
    placed = _one_after_another(pieces, edges)
    kept = [n for n in range(len(pieces)) if placed[n] is not None]
    place = {n: k for k, n in enumerate(kept)}
    hired = tuple(
        Hired(r.id, uses, r.cost_per_day, None)
        for r in plan.rentals
        if (
            uses := tuple(
                place[number[o.id]] for o in operations if o.rental == r.id and number[o.id] in place
            )
        )
    )
    hint = [time for time in placed if time is not None]
    if not kept:
        return OnClock({}, tuple(o.id for o in operations), False)
    last = max(end for _, end in hint)
    if hired:
        last += 14 * DAY_MINUTES // plan.grid_minutes
    found, proven = solve_on_clock(
        [pieces[n] for n in kept],
        [(place[i], place[j], lag) for i, j, lag in edges if i in place and j in place],
        last,
        hint,
        seconds,
        hired=hired,
        day_steps=DAY_MINUTES // plan.grid_minutes,
        day_cost=max(plan.holding_per_day, 1),
        deterministic=deterministic,
    )
    times = found or hint
    return OnClock(
        {operations[n].id: times[k] for k, n in enumerate(kept)},
        tuple(o.id for n, o in enumerate(operations) if n not in place),
        proven and not hired,
    )


def _pieces(
    plan: Plan, operations: Sequence[Operation]
) -> tuple[list[ClockPiece], list[tuple[int, int, int]]]:
    grid = plan.grid_minutes
    calendar = plan.calendar.from_start(plan.start).on_grid(grid)
    now = -(-plan.calendar.clock(plan.start) // grid)
    people = {o.who for o in operations} - {NOBODY}
    last = max(end for who in people for _, end in calendar.windows(who)) if people else now
    number = {o.id: n for n, o in enumerate(operations)}
    pieces, edges = [], []
    for n, operation in enumerate(operations):
        release = now
        for part in operation.parts:
            at = plan.arrival[part].at
            if at is not None:
                release = max(release, steps_of(plan.calendar.clock(at), grid))
        for after in operation.after:
            lag = steps_of(after.wait_minutes, grid)
            if after.operation in number:
                edges.append((number[after.operation], n, lag))
            elif after.operation in plan.done:
                ended = steps_of(plan.calendar.clock(plan.done[after.operation]), grid)
                release = max(release, ended + lag)
        size = steps_of(plan.minutes(operation), grid) or (1 if operation.only_in else 0)
        if operation.who == NOBODY or not size:
            pieces.append(ClockPiece(size, (), {0: ((now, max(last, now)),)}, release))
            continue
        both = (operation.who, *(name for name in operation.only_in if name in people))
        within = [calendar.windows(name) for name in operation.only_in]
        paused = _starts_by_pause(calendar.windows(operation.who), within, operation, size)
        pieces.append(ClockPiece(size, both, paused, release))
    return pieces, edges


def _starts_by_pause(
    mine: Windows, within: Sequence[Windows], operation: Operation, size: int
) -> dict[int, tuple[tuple[int, int], ...]]:
    time = WorkingTime(mine)
    bound = mine
    for windows in within:
        bound = common(bound, windows)
    runs = allowed_starts(time, bound, operation, size)
    found: dict[int, list[tuple[int, int]]] = {}
    for first, last in ((0, time.total - size),) if runs is None else runs:
        for worked in range(first, last + 1):
            start = time.start_clock(worked)
            pause = time.end_clock(worked + size) - start - size
            stretch = found.setdefault(pause, [])
            if stretch and stretch[-1][1] == start - 1:
                stretch[-1] = (stretch[-1][0], start)
            else:
                stretch.append((start, start))
    return {pause: tuple(stretch) for pause, stretch in found.items()}


def _one_after_another(
    pieces: Sequence[ClockPiece], edges: Sequence[tuple[int, int, int]]
) -> list[tuple[int, int] | None]:
    """Each piece at the first moment there is room for it; None for what has none."""
    lines: dict[str, Line] = {}
    before: dict[int, list[tuple[int, int]]] = {}
    for i, j, lag in edges:
        before.setdefault(j, []).append((i, lag))
    out: list[tuple[int, int] | None] = []
    for n, piece in enumerate(pieces):
        at: int | None = piece.release
        for i, lag in before.get(n, ()):
            earlier = out[i]
            at = None if at is None or earlier is None else max(at, earlier[1] + lag)
        out.append(
            None if at is None else _room(piece, at, [lines.setdefault(p, Line()) for p in piece.people])
        )
    return out


def _room(piece: ClockPiece, at: int, lines: Sequence[Line]) -> tuple[int, int] | None:
    runs = sorted((a, b, pause) for pause, found in piece.paused.items() for a, b in found)
    lasts = [b for _, b, _ in runs]
    k = bisect_left(lasts, at)
    while k < len(runs):
        a, _, pause = runs[k]
        start = max(at, a)
        length = piece.size + pause
        moved = max((line.free_from(start, length) for line in lines), default=start)
        if moved == start:
            for line in lines:
                line.take(start, start + length)
            return start, start + length
        at = moved
        k = bisect_left(lasts, at)
    return None
