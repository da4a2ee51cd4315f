"""A car area as it is built: parts, what links them, and what must be out of the way first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from driveout.errors import BadEntry
from driveout.workshop.access import AccessItem, Needs

EVENTS = ("mate", "first_start", "move", "road_test", "sale")
"""Moments for which links must be back, in the order in which they come."""

EVENT_NAMES = {
    "mate": "joining the units",
    "first_start": "the first start",
    "move": "the car rolls",
    "road_test": "the road test",
    "sale": "the sale",
}
LINK_KINDS = {
    "bolt": "bolt",
    "nut": "nut",
    "screw": "screw",
    "wheel": "wheel fastener",
    "clip": "clip",
    "hose": "hose",
    "pipe": "pipe",
    "connector": "connector",
    "power": "power cable",
    "ground": "ground strap",
    "cable": "cable",
    "shaft": "shaft joint",
    "joint": "ball or taper joint",
    "seal": "seal or gasket",
    "belt": "belt",
    "spring": "spring",
    "bond": "bonded joint",
    "fluid": "fluid circuit",
}
BAGGED = frozenset({"bolt", "nut", "screw", "wheel", "clip", "ground", "power", "shaft", "joint", "spring"})
"""Kinds whose loose pieces go into a numbered bag."""

PLACES = {
    "top": "from above",
    "low": "from below",
    "arch": "through the wheel arch",
    "cabin": "inside the car",
    "rear": "behind, by feel",
}
FATES = ("reuse", "inspect", "replace", "aside")
ITEM_KINDS = ("count", "measure", "photo", "look", "wait")


@dataclass(frozen=True)
class Renewal:
    """Something new that the refit needs, and the item that asks for it."""

    what: str
    count: float = 1.0
    unit: str = "pc"
    item: str = ""


@dataclass(frozen=True)
class Part:
    """A thing that comes away as one.

    Parameters
    ----------
    id, name
        Key and what a person reads.
    is_fixed
        It stays on the car; nothing can ask for it to be off.
    moves_with
        Name of the group that is lifted or drawn together; empty when it stays with the body.
    fate
        ``reuse``, ``inspect``, ``replace`` or ``aside`` (moved over, not disconnected).
    stow
        Where it waits.
    mass_kg
        Rough mass; 0 when unknown. [kg]
    renew
        What is bought new for it.
    """

    id: str
    name: str
    is_fixed: bool = False
    moves_with: str = ""
    fate: str = "reuse"
    stow: str = ""
    mass_kg: float = 0.0
    renew: tuple[Renewal, ...] = ()


@dataclass(frozen=True)
class Link:
    """What joins a part to what holds it.

    Parameters
    ----------
    id, name
        Key and what a person reads.
    kind
        One of ``LINK_KINDS``.
    part, to
        The released part and what it is held to.
    count
        How many pieces.
    place
        From where it is reached, one of ``PLACES``.
    off_minutes, on_minutes
        Time to undo and to refit all pieces. [min]
    needs
        What must be out of the way first.
    needed_by
        Event for which it must be back, one of ``EVENTS``.
    is_tagged, is_hidden
        Label both ends before opening; cannot be seen from where one works.
    seize_chance, seize_minutes
        Chance that it will not come, and the extra time then as low, likely, high. [min]
    renew
        What is bought new for it.
    is_one_use
        Its own pieces are thrown away.
    size, drive, length_mm
        Thread, tool and length when known.
    miss
        What happens when it is forgotten.
    note
        How to do it.
    needs_helper
        A second person is needed.
    variant
        Only on cars with this variant.
    cautions
        Keys of cautions that belong to it.
    """

    id: str
    name: str
    kind: str
    part: str
    to: str
    count: int = 1
    place: str = "top"
    off_minutes: float = 0.0
    on_minutes: float = 0.0
    needs: Needs = ()
    needed_by: str = "sale"
    is_tagged: bool = False
    is_hidden: bool = False
    seize_chance: float = 0.0
    seize_minutes: tuple[float, float, float] = (0.0, 0.0, 0.0)
    renew: tuple[Renewal, ...] = ()
    is_one_use: bool = False
    size: str = ""
    drive: str = ""
    length_mm: float = 0.0
    miss: str = ""
    note: str = ""
    needs_helper: bool = False
    variant: str = ""
    cautions: tuple[str, ...] = ()

    @property
    def expected_minutes(self) -> float:
        """Time to undo and refit it, the chance of a seized piece included, in minutes.

        The mean of low, likely, high is taken as 0.3, 0.4, 0.3 of them (swanson-rule).
        """
        low, likely, high = self.seize_minutes
        return (
            self.off_minutes + self.on_minutes + self.seize_chance * (0.3 * low + 0.4 * likely + 0.3 * high)
        )


@dataclass(frozen=True)
class Step:
    """Something to do that is not a link: raise, drain, measure, lift, start.

    Parameters
    ----------
    id, do
        Key and the instruction.
    minutes
        Time it takes. [min]
    when
        ``strip`` (on the way in), ``open`` (while it is apart) or the event it belongs to.
    needs
        What must be done first; for ``open`` and event steps, the items that call for the step.
    refit_do, refit_minutes
        What mirrors it on the way back; empty when nothing does. [min]
    needed_by
        Event for which the mirror must be done.
    lifts
        Group that this step lifts or draws away; every link crossing its edge must be open first.
    is_wait
        The clock runs, nobody works.
    needs_helper, refit_helper
        A second person is needed.
    renew
        What is bought new for it.
    note, variant, cautions
        As for a link.
    """

    id: str
    do: str
    minutes: float = 0.0
    when: str = "strip"
    needs: Needs = ()
    refit_do: str = ""
    refit_minutes: float = 0.0
    needed_by: str = "sale"
    lifts: str = ""
    is_wait: bool = False
    needs_helper: bool = False
    refit_helper: bool = False
    renew: tuple[Renewal, ...] = ()
    note: str = ""
    variant: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class HoldItem:
    """One thing that a person must record before going on."""

    kind: str
    what: str


@dataclass(frozen=True)
class Hold:
    """Written part of a hold point; the links are always computed.

    Parameters
    ----------
    id
        Key.
    phase
        ``strip``, ``refit`` or ``event``.
    before
        Step id (strip and refit) or event name.
    items
        What must be recorded besides the computed links.
    """

    id: str
    phase: str
    before: str
    items: tuple[HoldItem, ...]


@dataclass(frozen=True)
class Target:
    """What a repair needs to get at.

    Parameters
    ----------
    id, name
        Key and what a person reads.
    open
        Items that must be released.
    do, minutes
        The repair itself while it is apart. [min]
    renew
        What is bought new for it.
    """

    id: str
    name: str
    open: tuple[str, ...]
    do: str = ""
    minutes: float = 0.0
    renew: tuple[Renewal, ...] = ()


@dataclass(frozen=True)
class Variant:
    """A build difference: its own links and steps come in, the listed ones fall away."""

    id: str
    note: str
    drop: frozenset[str]


@dataclass(frozen=True)
class Assembly:
    """One car area, ready for planning.

    Parameters
    ----------
    id, name, layout
        Key, what a person reads, and the build it fits.
    basis, source
        Where its minutes and its order come from.
    parts, links, steps, holds, targets, variants
        The entries by id, in the order of the file.
    cautions
        Keys of cautions shown before the work.
    chosen
        Variants that were applied.
    """

    id: str
    name: str
    layout: str
    basis: str
    source: str
    parts: Mapping[str, Part]
    links: Mapping[str, Link]
    steps: Mapping[str, Step]
    holds: Mapping[str, Hold]
    targets: Mapping[str, Target]
    variants: Mapping[str, Variant]
    cautions: tuple[str, ...] = ()
    chosen: tuple[str, ...] = ()

    def name_of(self, item: str) -> str:
        """What a person reads for an item, a part or a target."""
        if item in self.links:
            return self.links[item].name
        if item in self.steps:
            return self.steps[item].do
        if item in self.parts:
            return self.parts[item].name
        return self.targets[item].name if item in self.targets else item

    def group(self, name: str) -> frozenset[str]:
        """Parts that are lifted or drawn together."""
        return frozenset(part.id for part in self.parts.values() if part.moves_with == name)

    def crossing(self, group: str) -> tuple[Link, ...]:
        """Links with exactly one end in the group: all must be open before it is lifted."""
        inside = self.group(group)
        return tuple(link for link in self.links.values() if (link.part in inside) != (link.to in inside))


def with_variants(assembly: Assembly, chosen: Iterable[str] = ()) -> Assembly:
    """The assembly as this car is built.

    Parameters
    ----------
    assembly
        As read from the file.
    chosen
        Variant ids of this car; none for the plain build.

    Returns
    -------
    Assembly
        Only the links, steps and needs that this build has.

    Raises
    ------
    BadEntry
        If a variant is not known.
    """
    wanted = tuple(chosen)
    for variant in wanted:
        if variant not in assembly.variants:
            raise BadEntry(
                f"{assembly.name} has no variant {variant!r}.",
                field="variant",
                value=variant,
                allowed=", ".join(assembly.variants) or "none",
            )
    dropped = frozenset[str]().union(*(assembly.variants[v].drop for v in wanted))
    built: tuple[Link | Step, ...] = (*assembly.links.values(), *assembly.steps.values())
    absent = {
        item.id for item in built if item.id in dropped or (item.variant and item.variant not in wanted)
    }
    return replace(
        assembly,
        links={
            key: replace(link, needs=_without(link.needs, absent))
            for key, link in assembly.links.items()
            if key not in absent
        },
        steps={
            key: replace(step, needs=_without(step.needs, absent))
            for key, step in assembly.steps.items()
            if key not in absent
        },
        targets={
            key: replace(target, open=tuple(item for item in target.open if item not in absent))
            for key, target in assembly.targets.items()
        },
        chosen=wanted,
    )


def _without(needs: Needs, absent: set[str]) -> Needs:
    """Needs of a car that lacks some items: what is not there cannot be in the way."""
    kept = []
    for need in needs:
        alternatives = tuple(tuple(name for name in way if name not in absent) for way in need)
        if all(alternatives):
            kept.append(alternatives)
    return tuple(kept)


def access_graph(assembly: Assembly) -> dict[str, AccessItem]:
    """The assembly as a graph of items to release, with its effort in minutes.

    A part is released when every link that holds it is open. A lifting step waits, besides its
    written needs, for every link that crosses the edge of its group.
    """
    holding: dict[str, list[str]] = {}
    for link in assembly.links.values():
        holding.setdefault(link.part, []).append(link.id)
    graph = {
        part.id: AccessItem(part.id, 0.0, tuple(((name,),) for name in holding.get(part.id, ())))
        for part in assembly.parts.values()
        if not part.is_fixed
    }
    for link in assembly.links.values():
        graph[link.id] = AccessItem(link.id, link.expected_minutes, link.needs)
    for step in assembly.steps.values():
        if step.when == "strip":
            crossing = tuple(((link.id,),) for link in assembly.crossing(step.lifts)) if step.lifts else ()
            # A wait costs evenings, not effort.
            effort = (0.0 if step.is_wait else step.minutes) + step.refit_minutes
            graph[step.id] = AccessItem(step.id, effort, step.needs + crossing)
    return graph
