"""A piece of work as it stands: what is done, what comes next, and which hold points stand open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from driveout.errors import BadEntry
from driveout.workshop.hold import (
    BagReport,
    FastenerRecord,
    HoldPoint,
    Passage,
    Progress,
    bag_report,
    fastener_records,
    hold_point,
)
from driveout.workshop.strip import StripPlan, Task


@dataclass(frozen=True)
class Work:
    """A plan together with everything recorded about it.

    Parameters
    ----------
    plan
        The plan of work.
    progress
        Links undone and back, hold items recorded.
    done
        Ids of steps and repairs recorded as done.
    fasteners
        Pieces of each link that has a bag, by link.
    passages
        Hold points passed, oldest first.
    """

    plan: StripPlan
    progress: Progress = field(default_factory=Progress)
    done: frozenset[str] = frozenset()
    fasteners: Mapping[str, FastenerRecord] = field(default_factory=dict)
    passages: tuple[Passage, ...] = ()

    def hold(self, task_id: str) -> HoldPoint:
        """What is open at a hold point now."""
        records = {**{r.link: r for r in fastener_records(self.plan)}, **self.fasteners}
        return hold_point(self.plan, task_id, self.progress, tuple(records.values()))

    def is_passed(self, task_id: str) -> bool:
        """Whether a hold point was passed and nothing has come open since that was not written off."""
        passed = [passage for passage in self.passages if passage.task == task_id]
        if not passed:
            return False
        open_now = {item.key for item in self.hold(task_id).open_items}
        return open_now <= set(passed[-1].open_keys)

    def is_finished(self, task: Task) -> bool:
        """Whether a task of the plan is recorded."""
        if task.kind == "undo":
            return task.item in self.progress.undone
        if task.kind == "refit":
            return task.item in self.progress.back
        if task.kind == "hold":
            return self.is_passed(task.id)
        return task.id in self.done

    @property
    def next_task(self) -> Task | None:
        """First task that is not recorded; None when all is done."""
        return next((task for task in self.plan.tasks if not self.is_finished(task)), None)

    @property
    def finished_count(self) -> int:
        """How many tasks are recorded."""
        return sum(self.is_finished(task) for task in self.plan.tasks)

    @property
    def minutes_left(self) -> float:
        """Worked minutes of the tasks not recorded yet."""
        return sum(t.minutes for t in self.plan.tasks if t.kind != "wait" and not self.is_finished(t))

    @property
    def bags(self) -> BagReport:
        """What the bags say now."""
        return bag_report(self.fasteners.values())

    def barrier(self, task: Task) -> Task | None:
        """The hold point that stands before a task and is not passed.

        Undoing and refitting wait for the lift and for the joining before them; steps wait for
        every hold point before them.
        """
        for earlier in self.plan.tasks:
            if earlier.id == task.id:
                return None
            if earlier.kind != "hold" or self.is_finished(earlier):
                continue
            by_event = earlier.id.startswith("hold:event:")
            if task.kind in ("undo", "refit") and by_event and not earlier.id.endswith(":mate"):
                continue
            return earlier
        return None

    def demand_open_way(self, task: Task) -> None:
        """Refuse a task that a hold point stands before.

        Parameters
        ----------
        task
            The task somebody wants to record.

        Raises
        ------
        BadEntry
            If a hold point before it is not passed; the message lists what is open there.
        """
        barrier = self.barrier(task)
        if barrier is None:
            return
        open_items = self.hold(barrier.id).open_items
        words = "; ".join(item.text for item in open_items[:4]) or "it was not passed yet"
        more = f"; and {len(open_items) - 4} more" if len(open_items) > 4 else ""
        raise BadEntry(
            f"The hold point comes first: {barrier.text}. Open there: {words}{more}.",
            field="task",
            value=task.id,
            allowed="after the hold point is passed",
        )
