"""Reading ``driveout-assembly/1`` files, with every complaint naming file, line and key."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from driveout.errors import BadEntry, BadRows, CannotSay
from driveout.files import Document, shipped, yaml_document
from driveout.workshop.access import Needs, least_release, releasable
from driveout.workshop.assembly import (
    EVENTS,
    FATES,
    ITEM_KINDS,
    LINK_KINDS,
    PLACES,
    Assembly,
    Hold,
    HoldItem,
    Link,
    Part,
    Renewal,
    Step,
    Target,
    Variant,
    access_graph,
    with_variants,
)
from driveout.workshop.practice import Caution, caution, link_minutes

__all__ = ["SCHEMA", "SHIPPED", "Caution", "caution", "read_assembly", "shipped_assembly"]

SCHEMA = "driveout-assembly/1"
SHIPPED = (
    "clutch_front_drive",
    "clutch_rear_drive",
    "brakes_front_disc",
    "brakes_rear_drum_in_hat",
    "brakes_rear_drum",
    "front_corner",
    "engine_out_transverse",
    "engine_out_longitudinal",
    "head_and_timing",
    "cooling",
    "starter_alternator",
    "exhaust",
    "panel_polish",
    "air_conditioning",
    "cabin_seat_and_trim",
    "door_lamp_bumper",
)
"""Assemblies that come with the program."""

_TOP = "schema id name layout basis source cautions variants parts steps links holds targets"
_PART = "name fixed moves_with fate stow kg renew"
_LINK = (
    "name kind part to count place off on after either needed_by tag hide seize renew one_use size drive"
    " length_mm miss note helper variant cautions"
)
_STEP = (
    "do minutes when after either refit refit_minutes refit_helper needed_by lifts wait helper renew note"
    " variant cautions"
)


def shipped_assembly(name: str) -> Assembly:
    """Return an assembly that comes with the program.

    Parameters
    ----------
    name
        One of ``SHIPPED``.

    Returns
    -------
    Assembly
        As written, all variants in it.

    Raises
    ------
    BadEntry
        If there is no such assembly.
    """
    if name not in SHIPPED:
        raise BadEntry(
            f"There is no assembly {name!r}.", field="assembly", value=name, allowed=", ".join(SHIPPED)
        )
    return _shipped(name)


@cache
def _shipped(name: str) -> Assembly:
    return read_assembly(shipped("driveout.workshop", f"data/{name}.yaml"), f"{name}.yaml")


def read_assembly(text: str | bytes, name: str = "assembly", *, strict: bool = True) -> Assembly:
    """Read and check one assembly file.

    Parameters
    ----------
    text
        Content of a ``driveout-assembly/1`` file (YAML or JSON).
    name
        File name for messages.
    strict
        Also refuse items that can never be released. Without it such an assembly is accepted,
        and a plan fails only when its targets need one of those items.

    Returns
    -------
    Assembly
        As written, all variants in it.

    Raises
    ------
    BadEntry
        If the file is not readable.
    BadRows
        If entries are wrong; all of them together.
    """
    document = yaml_document(text, name, SCHEMA)
    reader = _Reader(document)
    assembly = reader.assembly()
    if not reader.troubles:
        reader.check_references(assembly)
    if not reader.troubles and strict:
        reader.check_release(assembly)
    if reader.troubles:
        raise BadRows(reader.troubles)
    return assembly


class _Reader:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.troubles: list[BadEntry] = []

    def complain(self, path: tuple[Any, ...], message: str, **more: Any) -> None:
        self.troubles.append(self.document.bad(path, message, **more))

    # --- values

    def keys(self, path: tuple[Any, ...], row: Mapping[str, Any], allowed: str) -> None:
        for key in row:
            if key not in allowed.split():
                self.complain((*path, key), f"The key {key!r} is not known here.", value=key, allowed=allowed)

    def section(self, name: str) -> dict[str, dict[str, Any]]:
        found = self.document.data.get(name)
        if found is None:
            return {}
        if not isinstance(found, dict):
            self.complain((name,), f"{name} must hold entries by id.")
            return {}
        for key, row in found.items():
            if not isinstance(row, dict):
                self.complain((name, key), f"{key} must hold keys and values, not {row!r}.", value=row)
        return {str(key): row for key, row in found.items() if isinstance(row, dict)}

    def text(self, path: tuple[Any, ...], value: Any, *, required: bool = False) -> str:
        if value is None and not required:
            return ""
        if isinstance(value, dict | list | bool) or value in (None, ""):
            self.complain(path, f"{value!r} is not text.", value=value, allowed="text")
            return ""
        return str(value)

    def number(self, path: tuple[Any, ...], value: Any, *, most: float = 100_000.0) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.complain(path, f"{value!r} is not a number.", value=value, allowed=f"0 to {most:g}")
            return 0.0
        if not 0 <= value <= most:
            unit = "minutes " if path[-1] in ("minutes", "off", "on", "refit_minutes") else ""
            self.complain(
                path, f"{value:g} {unit}is outside 0 to {most:g}.", value=value, allowed=f"0 to {most:g}"
            )
            return 0.0
        return float(value)

    def flag(self, path: tuple[Any, ...], value: Any) -> bool:
        if value is not None and not isinstance(value, bool):
            self.complain(path, f"{value!r} is neither true nor false.", value=value, allowed="true or false")
        return value is True

    def word(self, path: tuple[Any, ...], value: Any, allowed: tuple[str, ...]) -> str:
        if value not in allowed:
            self.complain(path, f"{value!r} is not known here.", value=value, allowed=", ".join(allowed))
            return allowed[0]
        return str(value)

    def names(self, path: tuple[Any, ...], value: Any) -> tuple[str, ...]:
        if value is None:
            return ()
        if not isinstance(value, list) or not all(isinstance(x, str) for x in value):
            self.complain(path, f"{value!r} is not a list of ids.", value=str(value), allowed="[id, id]")
            return ()
        return tuple(value)

    def needs(self, path: tuple[Any, ...], row: Mapping[str, Any]) -> Needs:
        found: list[tuple[tuple[str, ...], ...]] = [
            ((name,),) for name in self.names((*path, "after"), row.get("after"))
        ]
        either = row.get("either") or []
        if not isinstance(either, list) or not all(isinstance(need, list) and need for need in either):
            self.complain(
                (*path, "either"),
                "either must be a list of lists of alternatives.",
                allowed="[[a, b], [c, [d, e]]]",
            )
            return tuple(found)
        for n, need in enumerate(either):
            found.append(
                tuple(
                    self.names((*path, "either", n), way if isinstance(way, list) else [way]) for way in need
                )
            )
        return tuple(found)

    def renewals(self, path: tuple[Any, ...], value: Any, item: str) -> tuple[Renewal, ...]:
        if value is None:
            return ()
        rows = value if isinstance(value, list) else [value]
        found = []
        for n, row in enumerate(rows):
            here = (*path, n) if isinstance(value, list) else path
            if isinstance(row, str):
                found.append(Renewal(row, item=item))
            elif isinstance(row, dict):
                self.keys(here, row, "what count unit")
                found.append(
                    Renewal(
                        self.text((*here, "what"), row.get("what"), required=True),
                        self.number((*here, "count"), row.get("count", 1)),
                        self.text((*here, "unit"), row.get("unit", "pc")),
                        item,
                    )
                )
            else:
                self.complain(
                    here, f"{row!r} is not something to buy.", allowed="text, or {what, count, unit}"
                )
        return tuple(found)

    # --- entries

    def assembly(self) -> Assembly:
        data = self.document.data
        self.keys((), data, _TOP)
        parts = {key: self.part(key, row) for key, row in self.section("parts").items()}
        return Assembly(
            id=self.text(("id",), data.get("id"), required=True),
            name=self.text(("name",), data.get("name"), required=True),
            layout=self.text(("layout",), data.get("layout")),
            basis=self.text(("basis",), data.get("basis")),
            source=self.text(("source",), data.get("source", "common-practice")),
            parts=parts,
            links={key: self.link(key, row, parts) for key, row in self.section("links").items()},
            steps={key: self.step(key, row) for key, row in self.section("steps").items()},
            holds={key: self.hold(key, row) for key, row in self.section("holds").items()},
            targets={key: self.target(key, row) for key, row in self.section("targets").items()},
            variants={
                key: Variant(
                    key,
                    self.text(("variants", key, "note"), row.get("note")),
                    frozenset(self.names(("variants", key, "drop"), row.get("drop"))),
                )
                for key, row in self.section("variants").items()
            },
            cautions=self.cautions(("cautions",), data.get("cautions")),
        )

    def cautions(self, path: tuple[Any, ...], value: Any) -> tuple[str, ...]:
        keys = self.names(path, value)
        for key in keys:
            try:
                caution(key)
            except BadEntry as error:
                self.complain(path, error.message, value=key, allowed=error.allowed)
        return keys

    def part(self, key: str, row: dict[str, Any]) -> Part:
        at = ("parts", key)
        self.keys(at, row, _PART)
        return Part(
            id=key,
            name=self.text((*at, "name"), row.get("name", key)),
            is_fixed=self.flag((*at, "fixed"), row.get("fixed")),
            moves_with=self.text((*at, "moves_with"), row.get("moves_with")),
            fate=self.word((*at, "fate"), row.get("fate", "reuse"), FATES),
            stow=self.text((*at, "stow"), row.get("stow")),
            mass_kg=self.number((*at, "kg"), row.get("kg", 0)),
            renew=self.renewals((*at, "renew"), row.get("renew"), key),
        )

    def link(self, key: str, row: dict[str, Any], parts: Mapping[str, Part]) -> Link:
        at = ("links", key)
        self.keys(at, row, _LINK)
        kind = self.word((*at, "kind"), row.get("kind"), tuple(LINK_KINDS))
        place = self.word((*at, "place"), row.get("place", "top"), tuple(PLACES))
        count = row.get("count", 1)
        if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= 500:
            self.complain(
                (*at, "count"), f"{count!r} is not a number of pieces.", value=count, allowed="1 to 500"
            )
            count = 1
        for end in ("part", "to"):
            if row.get(end) is None:
                self.complain((*at, end), f"Link {key} names no {end}.", fix=f"Write {end}: and a part id.")
            elif row[end] not in parts:
                self.complain(
                    (*at, end), f"Link {key} names {row[end]!r}, which is not a part.", value=row[end]
                )
        part, to = str(row.get("part")), str(row.get("to"))
        if part == to:
            self.complain((*at, "to"), f"Link {key} holds {part} to itself.", value=to)
        usual_off, usual_on = link_minutes(kind, place, count)
        seize = row.get("seize") or {}
        if not isinstance(seize, dict):
            self.complain((*at, "seize"), "seize must be {chance, minutes}.", value=str(seize))
            seize = {}
        chance = self.number((*at, "seize", "chance"), seize.get("chance", 0), most=1)
        return Link(
            id=key,
            name=self.text((*at, "name"), row.get("name")) or _link_name(parts, part, to, kind, count),
            kind=kind,
            part=part,
            to=to,
            count=count,
            place=place,
            off_minutes=self.number((*at, "off"), row.get("off", usual_off)),
            on_minutes=self.number((*at, "on"), row.get("on", usual_on)),
            needs=self.needs(at, row),
            needed_by=self.word((*at, "needed_by"), row.get("needed_by", "sale"), EVENTS),
            is_tagged=self.flag((*at, "tag"), row.get("tag")),
            is_hidden=self.flag((*at, "hide"), row.get("hide")),
            seize_chance=chance,
            seize_minutes=self.three((*at, "seize", "minutes"), seize.get("minutes", [0, 0, 0])),
            renew=self.renewals((*at, "renew"), row.get("renew"), key),
            is_one_use=self.flag((*at, "one_use"), row.get("one_use")),
            size=self.text((*at, "size"), row.get("size")),
            drive=self.text((*at, "drive"), row.get("drive")),
            length_mm=self.number((*at, "length_mm"), row.get("length_mm", 0)),
            miss=self.text((*at, "miss"), row.get("miss")),
            note=self.text((*at, "note"), row.get("note")),
            needs_helper=self.flag((*at, "helper"), row.get("helper")),
            variant=self.text((*at, "variant"), row.get("variant")),
            cautions=self.cautions((*at, "cautions"), row.get("cautions")),
        )

    def three(self, path: tuple[Any, ...], value: Any) -> tuple[float, float, float]:
        if not isinstance(value, list) or len(value) != 3:
            self.complain(path, f"{value!r} is not [low, likely, high].", value=str(value))
            return (0.0, 0.0, 0.0)
        low, likely, high = (self.number((*path, n), x) for n, x in enumerate(value))
        if not low <= likely <= high:
            self.complain(path, f"{value} does not rise from low to high.", value=str(value))
        return (low, likely, high)

    def step(self, key: str, row: dict[str, Any]) -> Step:
        at = ("steps", key)
        self.keys(at, row, _STEP)
        return Step(
            id=key,
            do=self.text((*at, "do"), row.get("do"), required=True),
            minutes=self.number((*at, "minutes"), row.get("minutes", 0)),
            when=self.word((*at, "when"), row.get("when", "strip"), ("strip", "open", *EVENTS)),
            needs=self.needs(at, row),
            refit_do=self.text((*at, "refit"), row.get("refit")),
            refit_minutes=self.number((*at, "refit_minutes"), row.get("refit_minutes", 0)),
            needed_by=self.word((*at, "needed_by"), row.get("needed_by", "sale"), EVENTS),
            lifts=self.text((*at, "lifts"), row.get("lifts")),
            is_wait=self.flag((*at, "wait"), row.get("wait")),
            needs_helper=self.flag((*at, "helper"), row.get("helper")),
            refit_helper=self.flag((*at, "refit_helper"), row.get("refit_helper")),
            renew=self.renewals((*at, "renew"), row.get("renew"), key),
            note=self.text((*at, "note"), row.get("note")),
            variant=self.text((*at, "variant"), row.get("variant")),
            cautions=self.cautions((*at, "cautions"), row.get("cautions")),
        )

    def hold(self, key: str, row: dict[str, Any]) -> Hold:
        at = ("holds", key)
        self.keys(at, row, "strip refit event items")
        phases = [phase for phase in ("strip", "refit", "event") if phase in row]
        if len(phases) != 1:
            self.complain(
                at,
                f"Hold {key} must say before what.",
                allowed="one of strip: step, refit: step, event: name",
            )
        phase = phases[0] if phases else "event"
        before = self.text((*at, phase), row.get(phase), required=True)
        if phase == "event":
            self.word((*at, phase), before, EVENTS)
        rows = row.get("items") or []
        items = []
        for n, line in enumerate(rows if isinstance(rows, list) else []):
            if not isinstance(line, dict) or len(line) != 1:
                self.complain((*at, "items", n), "A hold item is one line such as 'look: hose not twisted'.")
                continue
            [(kind, what)] = line.items()
            if kind not in ITEM_KINDS:
                self.complain(
                    (*at, "items", n),
                    f"{kind!r} is not written by hand. Links that still hold are computed.",
                    value=kind,
                    allowed=", ".join(ITEM_KINDS),
                )
            items.append(HoldItem(str(kind), self.text((*at, "items", n, kind), what, required=True)))
        return Hold(key, phase, before, tuple(items))

    def target(self, key: str, row: dict[str, Any]) -> Target:
        at = ("targets", key)
        self.keys(at, row, "name open do minutes renew")
        return Target(
            id=key,
            name=self.text((*at, "name"), row.get("name", key)),
            open=self.names((*at, "open"), row.get("open")),
            do=self.text((*at, "do"), row.get("do")),
            minutes=self.number((*at, "minutes"), row.get("minutes", 0)),
            renew=self.renewals((*at, "renew"), row.get("renew"), key),
        )

    # --- how it hangs together

    def check_references(self, assembly: Assembly) -> None:
        graph = access_graph(assembly)
        owner: dict[str, str] = {}
        for name in ("parts", "links", "steps"):
            for key in getattr(assembly, name):
                if key in owner:
                    self.complain((name, key), f"The id {key!r} also stands under {owner[key]}.", value=key)
                owner[key] = name
        for section, rows in (("links", assembly.links), ("steps", assembly.steps)):
            for key, item in rows.items():
                self._known((section, key), item.needs, graph, assembly)
                if item.variant and item.variant not in assembly.variants:
                    self.complain(
                        (section, key, "variant"),
                        f"There is no variant {item.variant!r}.",
                        value=item.variant,
                    )
        held = {link.part for link in assembly.links.values()}
        for part in assembly.parts.values():
            if not part.is_fixed and part.id not in held:
                self.complain(
                    ("parts", part.id),
                    f"Nothing holds {part.name!r} ({part.id}). Give it a link, or say fixed: true if it stays.",
                )
            if part.is_fixed and part.moves_with:
                self.complain(("parts", part.id, "moves_with"), f"{part.id} is fixed and cannot be lifted.")
        for step in assembly.steps.values():
            if step.lifts and not assembly.group(step.lifts):
                self.complain(
                    ("steps", step.id, "lifts"), f"No part moves with {step.lifts!r}.", value=step.lifts
                )
        for hold in assembly.holds.values():
            if hold.phase != "event" and hold.before not in assembly.steps:
                self.complain(
                    ("holds", hold.id, hold.phase), f"{hold.before!r} is not a step.", value=hold.before
                )
        for target in assembly.targets.values():
            if not target.open:
                self.complain(("targets", target.id, "open"), f"Target {target.id} opens nothing.")
            self._known(("targets", target.id), tuple(((name,),) for name in target.open), graph, assembly)
        for variant in assembly.variants.values():
            for name in variant.drop:
                if name not in assembly.links and name not in assembly.steps:
                    self.complain(
                        ("variants", variant.id, "drop"), f"{name!r} is no link or step.", value=name
                    )

    def _known(
        self, path: tuple[Any, ...], needs: Needs, graph: Mapping[str, object], assembly: Assembly
    ) -> None:
        for need in needs:
            for way in need:
                for name in way:
                    if name in graph:
                        continue
                    if name in assembly.parts:
                        why = f"{name!r} is fixed and never comes off."
                    elif name in assembly.steps:
                        why = (
                            f"{name!r} is a step of the way back; only steps on the way in can be waited for."
                        )
                    else:
                        why = f"{name!r} is not an item of this assembly."
                    self.complain((*path, "after"), why, value=name)

    def check_release(self, assembly: Assembly) -> None:
        seen: set[str] = set()
        for chosen in ((), *((variant,) for variant in assembly.variants)):
            built = access_graph(with_variants(assembly, chosen))
            loose = releasable(built)
            for name in built:
                if name in seen or name in loose:
                    continue
                seen.add(name)
                section = next(s for s in ("parts", "links", "steps") if name in getattr(assembly, s))
                try:
                    least_release(built, [name])
                except CannotSay as error:
                    self.complain((section, name), error.message, value=name)


def _link_name(parts: Mapping[str, Part], part: str, to: str, kind: str, count: int) -> str:
    name = parts[part].name if part in parts else part
    held = parts[to].name if to in parts else to
    pieces = LINK_KINDS[kind] if count == 1 else f"{count} {LINK_KINDS[kind]}s"
    return f"{name}: {pieces} to {held}"
