"""Hold points: what must be true before going on, computed from the links and never remembered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from driveout.errors import BadEntry
from driveout.workshop.assembly import EVENT_NAMES, EVENTS, LINK_KINDS, Assembly, Hold, Link
from driveout.workshop.strip import StripPlan

SHORTEST_NOTE = 10


@dataclass(frozen=True)
class Progress:
    """What has been recorded so far.

    Parameters
    ----------
    undone, back
        Ids of links recorded as undone, and as back in place.
    recorded
        What was recorded for each hold item, by its key.
    """

    undone: frozenset[str] = frozenset()
    back: frozenset[str] = frozenset()
    recorded: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class OpenItem:
    """One thing at a hold point.

    Parameters
    ----------
    key
        Key under which it is recorded; for a link its id.
    kind
        ``link``, ``count``, ``measure``, ``photo``, ``look`` or ``wait``.
    text
        What to record, as a sentence.
    is_hidden
        It cannot be seen from where one works: asked for by name.
    miss
        What happens when it is forgotten.
    """

    key: str
    kind: str
    text: str
    is_hidden: bool = False
    miss: str = ""


@dataclass(frozen=True)
class HoldPoint:
    """A stop in the plan.

    Parameters
    ----------
    task
        Id of the hold task in the plan.
    title
        What a person reads.
    open_items
        What is not recorded yet; links first, hidden ones on top.
    recorded
        What has been recorded, by key.
    """

    task: str
    title: str
    open_items: tuple[OpenItem, ...]
    recorded: Mapping[str, str]

    @property
    def is_clear(self) -> bool:
        """Whether nothing is open."""
        return not self.open_items


@dataclass(frozen=True)
class Passage:
    """How a hold point was passed: cleanly, or with a note over the items left open."""

    task: str
    open_keys: tuple[str, ...]
    note: str

    @property
    def is_override(self) -> bool:
        """Whether something was still open."""
        return bool(self.open_keys)


def still_holding(assembly: Assembly, group: str, undone: Iterable[str]) -> tuple[Link, ...]:
    """Links with exactly one end in the lifted group that are not recorded as undone.

    Parameters
    ----------
    assembly
        The car area, as this car is built.
    group
        Name of the group that is about to be lifted or drawn.
    undone
        Ids of links recorded as undone.

    Returns
    -------
    tuple of Link
        What still holds it; hidden links first.

    References
    ----------
    own-reasoning, docs/method/strip.md: written orders imply only a few of these links.
    """
    open_links = set(undone)
    holding = [link for link in assembly.crossing(group) if link.id not in open_links]
    return tuple(sorted(holding, key=lambda link: not link.is_hidden))


def not_yet_back(plan: StripPlan, event: str, progress: Progress) -> tuple[Link, ...]:
    """Links that the event waits for and that are not recorded as back.

    Every link of the plan counts, and every other link recorded as undone, whose ``needed_by``
    is this event or an earlier one.

    Parameters
    ----------
    plan
        The plan of work.
    event
        One of ``EVENTS``.
    progress
        What has been recorded.

    Returns
    -------
    tuple of Link
        Hidden links first.
    """
    limit = EVENTS.index(event)
    planned = {link.id for link in plan.links}
    waiting = [
        link
        for link in plan.assembly.links.values()
        if (link.id in planned or link.id in progress.undone)
        and link.id not in progress.back
        and EVENTS.index(link.needed_by) <= limit
    ]
    return tuple(sorted(waiting, key=lambda link: not link.is_hidden))


def hold_point(
    plan: StripPlan, task_id: str, progress: Progress, fasteners: Sequence[FastenerRecord] = ()
) -> HoldPoint:
    """Work out what is open at one hold point of the plan.

    Parameters
    ----------
    plan
        The plan of work.
    task_id
        Id of a hold task, ``hold:strip:step``, ``hold:refit:step`` or ``hold:event:name``.
    progress
        What has been recorded.
    fasteners
        Pieces recorded so far; a place refitted with too few pieces, or a piece left in its bag,
        is open as well.

    Returns
    -------
    HoldPoint
        With everything that is still open.

    Raises
    ------
    BadEntry
        If the plan has no such hold point.
    """
    task = plan.task(task_id)
    if task.kind != "hold":
        raise BadEntry(f"{task.text} is not a hold point.", field="task", value=task_id)
    phase = task_id.split(":")[1]
    open_items = [*_links(plan, phase, task.item, progress)]
    if phase == "event":
        open_items += _pieces(plan, task.item, progress, fasteners)
    for hold in plan.assembly.holds.values():
        if hold.phase == phase and hold.before == task.item:
            open_items += _written(hold, progress)
    return HoldPoint(task_id, task.text, tuple(open_items), dict(progress.recorded))


def _links(plan: StripPlan, phase: str, before: str, progress: Progress) -> list[OpenItem]:
    assembly = plan.assembly
    if phase == "event":
        return [
            OpenItem(
                link.id,
                "link",
                f"Not recorded as back: {link.name}. Needed for {EVENT_NAMES[link.needed_by]}",
                link.is_hidden,
                link.miss,
            )
            for link in not_yet_back(plan, before, progress)
        ]
    step = assembly.steps[before]
    if phase == "strip" and step.lifts:
        return [
            OpenItem(
                link.id,
                "link",
                f"Still holds: {link.name}",
                link.is_hidden,
                link.miss,
            )
            for link in still_holding(assembly, step.lifts, progress.undone)
        ]
    return []


def _pieces(
    plan: StripPlan, event: str, progress: Progress, fasteners: Sequence[FastenerRecord]
) -> list[OpenItem]:
    limit = EVENTS.index(event)
    links = plan.assembly.links
    return [
        OpenItem(f"bag.{record.link}", "count", line)
        for record in fasteners
        if record.link in progress.back
        and record.link in links
        and EVENTS.index(links[record.link].needed_by) <= limit
        for line in BagReport(
            (record,) if record.missing else (), (record,) if record.left_over else ()
        ).lines()
        if not record.is_settled and not progress.recorded.get(f"bag.{record.link}", "").strip()
    ]


def _written(hold: Hold, progress: Progress) -> list[OpenItem]:
    keys = [f"{hold.id}.{number}" for number in range(1, len(hold.items) + 1)]
    return [
        OpenItem(key, item.kind, item.what)
        for key, item in zip(keys, hold.items, strict=True)
        if not progress.recorded.get(key, "").strip()
    ]


def pass_hold(point: HoldPoint, note: str = "") -> Passage:
    """Go past a hold point.

    Parameters
    ----------
    point
        The hold point as it stands.
    note
        Why it is passed although something is open; needed only then.

    Returns
    -------
    Passage
        What to keep in the record.

    Raises
    ------
    BadEntry
        If something is open and there is no note of at least ten letters.
    """
    words = note.strip()
    if point.open_items and len(words) < SHORTEST_NOTE:
        first = "; ".join(item.text for item in point.open_items[:3])
        more = f" and {len(point.open_items) - 3} more" if len(point.open_items) > 3 else ""
        raise BadEntry(
            f"{len(point.open_items)} open at this hold point: {first}{more}. "
            "Record each one, or write why you go on without it.",
            field="note",
            value=note,
            allowed=f"nothing open, or a note of at least {SHORTEST_NOTE} letters",
        )
    return Passage(point.task, tuple(item.key for item in point.open_items), words)


@dataclass(frozen=True)
class FastenerRecord:
    """Pieces of one link: where they sit, what they are, and where each of them is now.

    Parameters
    ----------
    link
        Id of the link.
    place
        Where it sits, in words.
    count
        Pieces that belong there.
    bag
        Number on the bag.
    size, drive, length_mm
        Thread, tool and length.
    taken_out, put_back, thrown_away, fitted_new
        Pieces taken out, old ones put back, old ones thrown away, new ones fitted.
    """

    link: str
    place: str
    count: int
    bag: int
    size: str = ""
    drive: str = ""
    length_mm: float = 0.0
    taken_out: int = 0
    put_back: int = 0
    thrown_away: int = 0
    fitted_new: int = 0

    def __post_init__(self) -> None:
        counts = (self.count, self.taken_out, self.put_back, self.thrown_away, self.fitted_new)
        if min(counts) < 0:
            raise BadEntry(
                f"{self.place}: a number of pieces cannot be below 0.", field="count", value=min(counts)
            )
        if self.put_back + self.thrown_away > self.taken_out:
            raise BadEntry(
                f"{self.place}: {self.put_back} put back and {self.thrown_away} thrown away are more than the "
                f"{self.taken_out} taken out. New pieces count as new.",
                field="put_back",
                value=self.put_back,
                allowed=f"at most {self.taken_out - self.thrown_away}",
            )

    @property
    def missing(self) -> int:
        """Places without a piece, of those that were opened."""
        return max(0, self.count - (self.put_back + self.fitted_new)) if self.taken_out else 0

    @property
    def left_over(self) -> int:
        """Old pieces still in the bag."""
        return self.taken_out - self.put_back - self.thrown_away

    @property
    def is_settled(self) -> bool:
        """Whether nothing is missing and nothing is left over."""
        return not self.missing and not self.left_over


@dataclass(frozen=True)
class BagReport:
    """What the bags say at the end: nothing missing and nothing left over, or a list."""

    missing: tuple[FastenerRecord, ...]
    left_over: tuple[FastenerRecord, ...]

    @property
    def is_clean(self) -> bool:
        """Whether the work may be called finished."""
        return not self.missing and not self.left_over

    def lines(self) -> list[str]:
        """The report in sentences."""
        if self.is_clean:
            return ["Nothing missing, nothing left over."]
        return [
            *(f"Missing {r.missing} of {r.count}: {r.place} (bag {r.bag})" for r in self.missing),
            *(f"Left over {r.left_over} in bag {r.bag}: {r.place}" for r in self.left_over),
        ]


def fastener_records(plan: StripPlan) -> tuple[FastenerRecord, ...]:
    """One record per bag of the plan, before anything is taken out."""
    bags = {task.item: task.bag for task in plan.tasks if task.kind == "undo" and task.bag}
    return tuple(
        FastenerRecord(
            link.id,
            f"{link.name} ({LINK_KINDS[link.kind]})",
            link.count,
            bags[link.id],
            link.size,
            link.drive,
            link.length_mm,
        )
        for link in plan.links
        if link.id in bags
    )


def bag_report(records: Iterable[FastenerRecord]) -> BagReport:
    """Add up the bags."""
    every = tuple(records)
    return BagReport(
        tuple(record for record in every if record.missing),
        tuple(record for record in every if record.left_over),
    )
