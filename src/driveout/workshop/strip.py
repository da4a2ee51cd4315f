"""The plan of work: what to undo for the chosen repairs, and the same way back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from driveout.errors import BadEntry
from driveout.workshop.access import AccessItem, Release, least_release
from driveout.workshop.assembly import (
    BAGGED,
    EVENTS,
    LINK_KINDS,
    PLACES,
    Assembly,
    Link,
    Renewal,
    Step,
    access_graph,
    with_variants,
)

PHASES = ("strip", "open", "refit", "finish")


@dataclass(frozen=True)
class Task:
    """One thing to do, in the order of the plan.

    Parameters
    ----------
    id
        ``off:link``, ``on:link``, ``do:step``, ``back:step``, ``repair:target``, ``hold:...``.
    phase
        ``strip``, ``open`` (repair and whatever is done while it is apart), ``refit``,
        ``finish`` (from the first start on).
    item
        Id of the link, step, target, or event in the assembly.
    kind
        ``undo``, ``refit``, ``step``, ``repair``, ``wait`` or ``hold``.
    text
        What to do, as a sentence.
    minutes
        Time for it, the chance of a seized piece included. [min]
    because
        Items of the plan that need it.
    reason
        The same in words.
    bag
        Number of the bag that its pieces go into; 0 when there is none.
    needs_helper
        A second person is needed.
    cautions
        Keys of cautions shown with it.
    """

    id: str
    phase: str
    item: str
    kind: str
    text: str
    minutes: float
    because: tuple[str, ...] = ()
    reason: str = ""
    bag: int = 0
    needs_helper: bool = False
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class StripPlan:
    """The least-effort plan for some targets of one assembly.

    Parameters
    ----------
    assembly
        As this car is built.
    targets
        Named targets or item ids it was made for.
    tasks
        Everything to do, in order.
    released
        Items that come off, in order.
    because
        For each released item what it waits for.
    renewals
        What the refit needs new.
    effort_minutes
        Least effort: undoing and refitting everything that is released. [min]
    alone_minutes
        Effort of each target if it were the only one. [min]
    marginal_minutes
        What each target adds to the others. [min]
    is_proven
        Whether the least effort is proven.
    """

    assembly: Assembly
    targets: tuple[str, ...]
    tasks: tuple[Task, ...]
    released: tuple[str, ...]
    because: Mapping[str, tuple[str, ...]]
    renewals: tuple[Renewal, ...]
    effort_minutes: float
    alone_minutes: Mapping[str, float] = field(default_factory=dict)
    marginal_minutes: Mapping[str, float] = field(default_factory=dict)
    is_proven: bool = True

    @property
    def links(self) -> tuple[Link, ...]:
        """Links that the plan opens, in the order of opening."""
        return tuple(self.assembly.links[item] for item in self.released if item in self.assembly.links)

    @property
    def saving_minutes(self) -> float:
        """What doing the targets together saves against one after the other, in minutes."""
        return sum(self.alone_minutes.values()) - self.effort_minutes

    @property
    def minutes(self) -> float:
        """All worked minutes of the plan, waits not counted."""
        return sum(task.minutes for task in self.tasks if task.kind != "wait")

    def task(self, task_id: str) -> Task:
        """One task by id.

        Parameters
        ----------
        task_id
            As in ``tasks``.

        Returns
        -------
        Task
            The task.

        Raises
        ------
        BadEntry
            If the plan has no such task.
        """
        for task in self.tasks:
            if task.id == task_id:
                return task
        raise BadEntry(f"The plan has no task {task_id!r}.", field="task", value=task_id)

    def as_dict(self) -> dict[str, Any]:
        """JSON shape of the plan."""
        return {
            "assembly": self.assembly.id,
            "name": self.assembly.name,
            "variants": list(self.assembly.chosen),
            "targets": list(self.targets),
            "effort_minutes": round(self.effort_minutes, 2),
            "minutes": round(self.minutes, 2),
            "alone_minutes": {key: round(value, 2) for key, value in self.alone_minutes.items()},
            "marginal_minutes": {key: round(value, 2) for key, value in self.marginal_minutes.items()},
            "saving_minutes": round(self.saving_minutes, 2),
            "is_proven": self.is_proven,
            "released": list(self.released),
            "because": {key: list(value) for key, value in self.because.items()},
            "renewals": [
                {"what": r.what, "count": r.count, "unit": r.unit, "for": r.item} for r in self.renewals
            ],
            "tasks": [
                {
                    "id": task.id,
                    "phase": task.phase,
                    "kind": task.kind,
                    "item": task.item,
                    "text": task.text,
                    "minutes": round(task.minutes, 2),
                    "reason": task.reason,
                    "bag": task.bag,
                    "helper": task.needs_helper,
                    "cautions": list(task.cautions),
                }
                for task in self.tasks
            ],
        }


def strip(
    assembly: Assembly, targets: Sequence[str], *, variants: Iterable[str] | None = None, compare: bool = True
) -> StripPlan:
    """Plan the least-effort way in for some repairs, and the mirrored way back.

    Parameters
    ----------
    assembly
        The car area.
    targets
        Named targets of the assembly, or ids of parts, links or steps.
    variants
        How this car is built; None takes the assembly as it was already resolved, or plain.
    compare
        Also work out what each target costs alone and what it adds to the others.

    Returns
    -------
    StripPlan
        Tasks in order with reasons, renewals and effort.

    Raises
    ------
    BadEntry
        If a target or variant is not known, or no target is given.
    CannotSay
        If a target cannot be got at; the message names the items that hold each other.

    References
    ----------
    own-reasoning, docs/method/strip.md.
    """
    if variants is not None or not assembly.chosen:
        assembly = with_variants(assembly, variants or ())
    wanted = tuple(dict.fromkeys(targets))
    if not wanted:
        raise BadEntry(
            "No target was given: say what you want to get at.",
            field="target",
            allowed=", ".join(assembly.targets) or "any item id",
        )
    graph = access_graph(assembly)
    best = least_release(graph, _goals(assembly, graph, wanted))
    alone: dict[str, float] = {}
    marginal: dict[str, float] = {}
    if compare:
        for target in wanted:
            alone[target] = (
                best.cost
                if len(wanted) == 1
                else least_release(graph, _goals(assembly, graph, (target,))).cost
            )
            others = tuple(other for other in wanted if other != target)
            rest = least_release(graph, _goals(assembly, graph, others)).cost if others else 0.0
            marginal[target] = best.cost - rest
    tasks = _tasks(assembly, best, wanted)
    return StripPlan(
        assembly=assembly,
        targets=wanted,
        tasks=tasks,
        released=best.order,
        because=best.because,
        renewals=_renewals(assembly, best, wanted, tasks),
        effort_minutes=best.cost,
        alone_minutes=alone,
        marginal_minutes=marginal,
        is_proven=best.is_proven,
    )


def _goals(assembly: Assembly, graph: Mapping[str, AccessItem], targets: Sequence[str]) -> list[str]:
    goals: dict[str, None] = {}
    for target in targets:
        if target in assembly.targets:
            goals.update(dict.fromkeys(assembly.targets[target].open))
        elif target in graph:
            goals[target] = None
        else:
            raise BadEntry(
                f"{assembly.name} has no target {target!r}.",
                field="target",
                value=target,
                allowed=", ".join((*assembly.targets, *list(graph)[:8])),
            )
    return list(goals)


def _tasks(assembly: Assembly, best: Release, targets: tuple[str, ...]) -> tuple[Task, ...]:
    wanting: dict[str, list[str]] = {item: [] for item in best.order}
    for item, needs in best.because.items():
        for need in needs:
            wanting[need].append(item)
    bags = _bags(assembly, best)
    tasks: list[Task] = []
    for item in best.order:
        tasks += _way_in(assembly, item, tuple(wanting[item]), bags.get(item, 0))
    tasks += _while_open(assembly, best, targets)
    tasks += _way_back(assembly, best, bags)
    return tuple(tasks)


def _bags(assembly: Assembly, best: Release) -> dict[str, int]:
    bagged = [item for item in best.order if item in assembly.links and assembly.links[item].kind in BAGGED]
    return {item: number for number, item in enumerate(bagged, start=1)}


def _way_in(assembly: Assembly, item: str, wanting: tuple[str, ...], bag: int) -> list[Task]:
    if item in assembly.parts:
        return []
    reason = _reason(assembly, item, wanting)
    if item in assembly.links:
        link = assembly.links[item]
        return [
            Task(
                id=f"off:{item}",
                phase="strip",
                item=item,
                kind="undo",
                text=f"Undo ({PLACES[link.place]}) {link.name}",
                minutes=link.expected_minutes - link.on_minutes,
                because=wanting,
                reason=reason,
                bag=bag,
                needs_helper=link.needs_helper,
                cautions=link.cautions,
            )
        ]
    step = assembly.steps[item]
    tasks = [_step_task(step, "strip", wanting, reason)]
    if step.lifts:
        tasks.insert(0, _hold_task("strip", item, f"What still holds it? Before: {step.do}"))
    elif any(hold.phase == "strip" and hold.before == item for hold in assembly.holds.values()):
        tasks.insert(0, _hold_task("strip", item, f"Hold point before: {step.do}"))
    return tasks


def _step_task(step: Step, phase: str, because: tuple[str, ...] = (), reason: str = "") -> Task:
    return Task(
        id=f"do:{step.id}",
        phase=phase,
        item=step.id,
        kind="wait" if step.is_wait else "step",
        text=step.do,
        minutes=step.minutes,
        because=because,
        reason=reason,
        needs_helper=step.needs_helper,
        cautions=step.cautions,
    )


def _hold_task(phase: str, before: str, text: str) -> Task:
    stage = phase
    if phase == "event":
        stage = "refit" if before == "mate" else "finish"
    return Task(id=f"hold:{phase}:{before}", phase=stage, item=before, kind="hold", text=text, minutes=0.0)


def _reason(assembly: Assembly, item: str, wanting: tuple[str, ...]) -> str:
    """Why it has to be done: what in the plan needs it."""
    if not wanting:
        return "It is what the repair needs."
    words = []
    for name in wanting[:3]:
        if name in assembly.parts:
            words.append(f"it holds the {assembly.parts[name].name}")
        elif name in assembly.links:
            words.append(f"it is in the way of {assembly.links[name].name}")
        else:
            words.append(f"it comes before: {assembly.steps[name].do}")
    more = f", and {len(wanting) - 3} more need it" if len(wanting) > 3 else ""
    return "Because " + "; ".join(words) + more + "."


def _while_open(assembly: Assembly, best: Release, targets: tuple[str, ...]) -> list[Task]:
    released = set(best.order)
    tasks = []
    for step in assembly.steps.values():
        if step.when == "open" and _is_called_for(step, released):
            tasks.append(_step_task(step, "open"))
    for name in targets:
        target = assembly.targets.get(name)
        if target and target.do:
            tasks.append(Task(f"repair:{name}", "open", name, "repair", target.do, target.minutes))
    return tasks


def _is_called_for(step: Step, released: set[str]) -> bool:
    """A step of the open or finishing time belongs to the plan when each of its needs is met."""
    return all(any(all(name in released for name in way) for way in need) for need in step.needs)


def _way_back(assembly: Assembly, best: Release, bags: Mapping[str, int]) -> list[Task]:
    rank = _refit_rank(assembly, best)
    place = {item: n for n, item in enumerate(best.order)}
    # What was opened later goes back earlier; what an event waits for goes back before the rest.
    back = sorted(best.order, key=lambda item: (rank[item], -place[item]))
    tasks: list[Task] = []
    released = set(best.order)
    has_started = False
    for number, event in enumerate(EVENTS):
        phase = "finish" if has_started else "refit"
        for item in (item for item in back if rank[item] == number):
            tasks += _one_back(assembly, item, phase, bags.get(item, 0))
        at_event = _at_event(assembly, event, released)
        tasks += at_event
        has_started |= event != "mate" and bool(at_event)
    return tasks


def _at_event(assembly: Assembly, event: str, released: set[str]) -> list[Task]:
    steps = [s for s in assembly.steps.values() if s.when == event and _is_called_for(s, released)]
    due = any(item in assembly.links and assembly.links[item].needed_by == event for item in released)
    written = any(hold.phase == "event" and hold.before == event for hold in assembly.holds.values())
    if not (steps or due or written or event == "sale"):
        return []
    title = {
        "mate": "Hold point before joining the units",
        "first_start": "Hold point before the first start",
        "move": "Hold point before the car rolls",
        "road_test": "Hold point before the road test",
        "sale": "Hold point before the car is called finished: nothing missing, nothing left over",
    }[event]
    phase = "refit" if event == "mate" else "finish"
    return [_hold_task("event", event, title), *(_step_task(step, phase) for step in steps)]


def _one_back(assembly: Assembly, item: str, phase: str, bag: int) -> list[Task]:
    if item in assembly.links:
        link = assembly.links[item]
        return [
            Task(
                id=f"on:{item}",
                phase=phase,
                item=item,
                kind="refit",
                text=f"Refit ({PLACES[link.place]}) {link.name}",
                minutes=link.on_minutes,
                reason=f"If forgotten: {link.miss}." if link.miss else "",
                bag=bag,
                needs_helper=link.needs_helper,
                cautions=link.cautions,
            )
        ]
    step = assembly.steps.get(item)
    if step is None:
        return []
    tasks = []
    if step.lifts or any(h.phase == "refit" and h.before == item for h in assembly.holds.values()):
        tasks.append(_hold_task("refit", item, f"Hold point before: {step.refit_do or step.do}"))
    if step.refit_do:
        tasks.append(
            Task(
                id=f"back:{item}",
                phase=phase,
                item=item,
                kind="step",
                text=step.refit_do,
                minutes=step.refit_minutes,
                needs_helper=step.refit_helper or bool(step.lifts and step.needs_helper),
                cautions=step.cautions,
            )
        )
    return tasks


def _refit_rank(assembly: Assembly, best: Release) -> dict[str, int]:
    """Event by which each item must be back: its own, or that of anything that goes back after it."""
    rank: dict[str, int] = {}
    for item in best.order:
        own = len(EVENTS) - 1
        if item in assembly.links:
            own = EVENTS.index(assembly.links[item].needed_by)
        elif item in assembly.steps:
            own = EVENTS.index(assembly.steps[item].needed_by)
        rank[item] = min([own, *(rank[need] for need in best.because[item])])
    return rank


def _renewals(
    assembly: Assembly, best: Release, targets: tuple[str, ...], tasks: tuple[Task, ...]
) -> tuple[Renewal, ...]:
    found: list[Renewal] = []
    for item in best.order:
        if item in assembly.links:
            link = assembly.links[item]
            found += link.renew
            if link.is_one_use and not link.renew:
                pieces = LINK_KINDS[link.kind] + (f" {link.size}" if link.size else "")
                found.append(Renewal(f"new {pieces} for {link.name}", link.count, "pc", item))
        elif item in assembly.parts:
            found += assembly.parts[item].renew
        else:
            found += assembly.steps[item].renew
    done = {task.item for task in tasks if task.id.startswith("do:")}
    for step in assembly.steps.values():
        if step.when != "strip" and step.id in done:
            found += step.renew
    for name in targets:
        if name in assembly.targets:
            found += assembly.targets[name].renew
    return tuple(found)
