"""What can be done about a fault, what it costs, how long it takes, and what can be done on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from typing import Any

from driveout.errors import BadEntry, BadRows
from driveout.files import Document, shipped, yaml_document
from driveout.uncertain import ThreePoint
from driveout.units import minor_digits
from driveout.workshop import caution

SCHEMA = "driveout-repairs/1"
CHOICES = ("new", "used", "rebuilt", "outside")
SAFETY = ("none", "minor", "major", "critical")
HELPER = ("none", "useful", "needed")
LAYOUTS = ("any", "front_drive", "rear_drive")


@dataclass(frozen=True)
class PartChoice:
    """One way to get a repair: with a new, used or rebuilt part, or done by a workshop outside.

    Parameters
    ----------
    kind
        ``new``, ``used``, ``rebuilt`` or ``outside``.
    money
        Price of the parts or of the outside work. [minor units]
    lead_days
        Days from ordering to having it.
    core_deposit
        Deposit that comes back with the old part; None when there is none. [minor units]
    hours_share
        Share of the repair's own hours that stays with the person (1 unless done outside).
    note
        What the person should know about this choice.
    """

    kind: str
    money: ThreePoint
    lead_days: ThreePoint
    core_deposit: ThreePoint | None = None
    hours_share: float = 1.0
    note: str = ""


@dataclass(frozen=True)
class OutsideWork:
    """Work paid to somebody else as part of a repair, such as a wheel alignment, in minor units."""

    what: str
    money: ThreePoint


@dataclass(frozen=True)
class Wait:
    """Days that pass without work, such as a cure or a machine shop, in days."""

    what: str
    days: ThreePoint


@dataclass(frozen=True)
class Redo:
    """Chance that the repair must be done again, and what that costs, in minor units and hours."""

    chance: float
    money: float
    hours: float


@dataclass(frozen=True)
class Access:
    """Taking apart and refitting that several repairs share: done once, paid once.

    Parameters
    ----------
    id
        Group name, for example ``gearbox_out``.
    name
        What a person reads.
    layout
        ``front_drive``, ``rear_drive`` or ``any``.
    hours
        Own hours to get in and to close up again. [hours]
    assembly
        Assembly whose strip plan gives the steps; empty when none is shipped.
    target
        Named target inside that assembly.
    """

    id: str
    name: str
    layout: str
    hours: ThreePoint
    assembly: str = ""
    target: str = ""


@dataclass(frozen=True)
class Repair:
    """One piece of work that cures faults.

    Parameters
    ----------
    id, name
        Key and what a person reads.
    cures
        Ids of the faults it cures.
    safety
        How grave the cured fault is: ``critical`` and ``major`` must be done or disclosed.
    choices
        Ways to get it, by kind.
    hours
        Own hours when it is the only job, access included. [hours]
    own_hours
        Own hours once the shared access is open; equals ``hours`` when nothing is shared. [hours]
    access
        Shared access group, or empty.
    assembly, targets
        Strip and refit plan that belongs to it; empty when none is shipped.
    consumables
        Fluids, sealant, rags. [minor units]
    outside
        Work always paid to somebody else.
    waits
        Days that pass besides the part's lead time.
    fixes
        Share of cases in which it cures the fault.
    redo
        Chance and cost of doing it twice.
    grows
        Other repairs that turn out to be needed, with their chance.
    tools
        Ids in the tool list.
    helper
        ``none``, ``useful`` or ``needed``.
    skill
        1 (anyone) to 5 (done it before).
    alignment
        Wheel alignment needed afterwards.
    layout
        Drive layout it belongs to, or ``any``.
    note
        What else the person should know.
    cautions
        Keys of cautions of the workshop shown before it is chosen.
    """

    id: str
    name: str
    cures: tuple[str, ...]
    safety: str
    choices: Mapping[str, PartChoice]
    hours: ThreePoint
    own_hours: ThreePoint
    access: str
    assembly: str
    targets: tuple[str, ...]
    consumables: ThreePoint
    outside: tuple[OutsideWork, ...]
    waits: tuple[Wait, ...]
    fixes: float
    redo: Redo
    grows: tuple[tuple[str, float], ...]
    tools: tuple[str, ...]
    helper: str
    skill: int
    alignment: bool
    layout: str
    note: str
    cautions: tuple[str, ...] = ()

    @property
    def is_mandatory(self) -> bool:
        """Whether the cured fault makes the car unfit for the road until it is done."""
        return self.safety == "critical"

    @property
    def first_choice(self) -> PartChoice:
        """The choice to assume while the person has not chosen: the first one written."""
        return next(iter(self.choices.values()))


@dataclass(frozen=True)
class WhileThere:
    """Something worth doing while an access is open anyway.

    Parameters
    ----------
    id, name, access
        Key, what a person reads, and the access group in which it is easy.
    money
        Parts. [minor units]
    hours_now
        Extra hours in the open job. [hours]
    hours_later
        Hours when it is done as a job of its own. [hours]
    chance_later
        Chance that it comes back within 12 months when skipped.
    do_if
        Rule of thumb for a car meant for sale.
    """

    id: str
    name: str
    access: str
    money: ThreePoint
    hours_now: float
    hours_later: float
    chance_later: float
    do_if: str


@dataclass(frozen=True)
class Tool:
    """What a tool costs to buy, to rent for a day, and what share comes back when sold, in minor units."""

    id: str
    buy: ThreePoint
    rent_per_day: ThreePoint | None
    is_lent: bool
    resale: float


@dataclass(frozen=True)
class Catalogue:
    """All repairs that are known, for one drive layout.

    Parameters
    ----------
    currency
        ISO 4217 code of every money figure here.
    layout
        Drive layout the access groups were resolved for.
    basis, source
        Where the numbers come from.
    repairs, access, while_there, tools
        The entries by id.
    """

    currency: str
    layout: str
    basis: str
    source: str
    repairs: Mapping[str, Repair]
    access: Mapping[str, Access]
    while_there: Mapping[str, WhileThere]
    tools: Mapping[str, Tool]

    def for_fault(self, fault: str) -> tuple[Repair, ...]:
        """Repairs that cure a fault, in the order in which they are usually tried."""
        return tuple(repair for repair in self.repairs.values() if fault in repair.cures)

    def also(self, access: str) -> tuple[WhileThere, ...]:
        """Things worth doing while this access is open."""
        return tuple(item for item in self.while_there.values() if item.access == access)


def catalogue(overrides: str | bytes | None = None, *, layout: str = "front_drive") -> Catalogue:
    """Read the shipped repairs, with the person's own entries laid over them.

    Parameters
    ----------
    overrides
        A ``driveout-repairs/1`` file; its entries replace or add whole entries by id. It may
        leave out what it does not change.
    layout
        ``front_drive`` or ``rear_drive``: which access hours apply and which repairs exist.

    Returns
    -------
    Catalogue
        Repairs, access groups, while-you-are-there items and tools.

    Raises
    ------
    BadEntry
        If the layout is unknown or an entry cannot be used; the place names file and line.
    """
    if layout not in LAYOUTS:
        raise BadEntry(
            f"Layout {layout!r} is not known.", field="layout", value=layout, allowed=", ".join(LAYOUTS)
        )
    base = _shipped(layout)
    if overrides is None:
        return base
    own = _read(yaml_document(overrides, "repairs", SCHEMA), layout, base)
    if own.currency != base.currency and own.repairs:
        raise BadEntry(
            f"The file counts in {own.currency}, the shipped repairs in {base.currency}. Give both in one currency.",
            field="currency",
            value=own.currency,
            allowed=base.currency,
        )
    return replace(
        base,
        repairs={**base.repairs, **own.repairs},
        access={**base.access, **own.access},
        while_there={**base.while_there, **own.while_there},
        tools={**base.tools, **own.tools},
    )


@cache
def _shipped(layout: str) -> Catalogue:
    document = yaml_document(shipped("driveout.repairs", "data/repairs.yaml"), "repairs.yaml", SCHEMA)
    return _read(document, layout, None)


class _Entries:
    """Reads the values of one file and collects every complaint."""

    def __init__(self, document: Document, minor: int) -> None:
        self.document = document
        self.minor = minor
        self.troubles: list[BadEntry] = []

    def complain(self, path: tuple[Any, ...], message: str, **more: Any) -> None:
        self.troubles.append(self.document.bad(path, message, **more))

    def three(self, path: tuple[Any, ...], value: Any, *, money: bool = False) -> ThreePoint:
        if (
            not isinstance(value, list)
            or len(value) != 3
            or any(isinstance(x, bool) or not isinstance(x, int | float) for x in value)
        ):
            self.complain(
                path,
                f"{value!r} is not an estimate.",
                value=value,
                allowed="[low, likely, high], three numbers",
            )
            return ThreePoint(0.0, 0.0, 0.0)
        if not 0 <= value[0] <= value[1] <= value[2]:
            self.complain(
                path,
                f"{value} does not rise from low to high, or is below 0.",
                value=str(value),
                allowed="0 <= low <= likely <= high",
            )
            return ThreePoint(0.0, 0.0, 0.0)
        if money:
            low, likely, high = (
                float(int(Decimal(str(x)).scaleb(self.minor).to_integral_value())) for x in value
            )
        else:
            low, likely, high = (float(x) for x in value)
        return ThreePoint(low, likely, high)

    def share(self, path: tuple[Any, ...], value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
            self.complain(path, f"{value!r} is not a share.", value=value, allowed="0 to 1")
            return 0.0
        return float(value)

    def number(self, path: tuple[Any, ...], value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or value < 0:
            self.complain(path, f"{value!r} is not a number from 0 up.", value=value, allowed="0 or more")
            return 0.0
        return float(value)

    def word(self, path: tuple[Any, ...], value: Any, allowed: tuple[str, ...]) -> str:
        if value not in allowed:
            self.complain(path, f"{value!r} is not known here.", value=value, allowed=", ".join(allowed))
            return allowed[0]
        return str(value)

    def keys(self, path: tuple[Any, ...], entry: Mapping[str, Any], allowed: str) -> None:
        for key in entry:
            if key not in allowed.split():
                self.complain((*path, key), f"The key {key!r} is not known here.", allowed=allowed)


def _read(document: Document, layout: str, base: Catalogue | None) -> Catalogue:
    data = document.data
    currency = str(data.get("currency") or (base.currency if base else ""))
    entries = _Entries(document, minor_digits(currency))
    entries.keys((), data, "schema currency basis source hour_multipliers access repairs while_there tools")
    access = dict(base.access) if base else {}
    access.update(_access(entries, _section(entries, "access"), layout))
    repairs = _repairs(entries, _section(entries, "repairs"), access, layout)
    while_there = _while_there(entries, _section(entries, "while_there"), access)
    tools = {
        key: Tool(
            key,
            entries.three(("tools", key, "buy"), row.get("buy"), money=True),
            entries.three(("tools", key, "rent"), row["rent"], money=True) if row.get("rent") else None,
            row.get("loan") is True,
            entries.share(("tools", key, "resale"), row.get("resale")),
        )
        for key, row in _section(entries, "tools").items()
    }
    if entries.troubles:
        raise BadRows(entries.troubles)
    return Catalogue(
        currency,
        layout,
        str(data.get("basis", "")),
        str(data.get("source", "")),
        repairs,
        access,
        while_there,
        tools,
    )


def _section(entries: _Entries, name: str) -> dict[str, Any]:
    section = entries.document.data.get(name) or {}
    if not isinstance(section, dict) or not all(isinstance(row, dict) for row in section.values()):
        entries.complain((name,), f"{name} must hold entries by id.")
        return {}
    return section


def _access(entries: _Entries, section: dict[str, Any], layout: str) -> dict[str, Access]:
    found: dict[str, Access] = {}
    for key, row in section.items():
        layouts = row.get("by_layout") or {}
        at = layout if layout in layouts else "any"
        if at not in layouts:
            entries.complain(
                ("access", key), f"Access {key!r} has no hours for {layout}.", fix="Add it or 'any'."
            )
            continue
        line = layouts[at]
        found[key] = Access(
            key,
            str(row.get("name", key)),
            at,
            entries.three(("access", key, "by_layout", at, "hours"), line.get("hours")),
            str(line.get("assembly", "")),
            str(line.get("target", "")),
        )
    return found


_REPAIR_KEYS = (
    "name cures safety layout choices hours access own_hours assembly targets consumables outside waits"
    " fixes redo grows tools helper skill alignment note cautions"
)


def _repairs(
    entries: _Entries, section: dict[str, Any], access: Mapping[str, Access], layout: str
) -> dict[str, Repair]:
    found = {}
    for key, row in section.items():
        entries.keys(("repairs", key), row, _REPAIR_KEYS)
        repair = _repair(entries, key, row, access)
        if "any" in (repair.layout, layout) or repair.layout == layout:
            found[key] = repair
    for key, row in section.items():
        for other in row.get("grows") or {}:
            if other not in section:
                entries.complain(
                    ("repairs", key, "grows", other), f"{other!r} is not a repair of this file.", value=other
                )
    return {
        key: replace(repair, grows=tuple(pair for pair in repair.grows if pair[0] in found))
        for key, repair in found.items()
    }


def _repair(entries: _Entries, key: str, row: dict[str, Any], access: Mapping[str, Access]) -> Repair:
    at = ("repairs", key)
    group = str(row.get("access", ""))
    if group and group not in access:
        entries.complain((*at, "access"), f"{group!r} is not an access group.", value=group)
    opened = access.get(group)
    hours = entries.three((*at, "hours"), row.get("hours"))
    own = entries.three((*at, "own_hours"), row["own_hours"]) if "own_hours" in row else hours
    if group and "own_hours" not in row:
        entries.complain(
            (*at, "own_hours"), f"{key} shares {group}, so it needs own_hours: the hours once open."
        )
    redo = row.get("redo") or {}
    return Repair(
        id=key,
        name=str(row.get("name", key)),
        cures=tuple(str(fault) for fault in row.get("cures") or ()),
        safety=entries.word((*at, "safety"), row.get("safety", "none"), SAFETY),
        choices=_choices(entries, at, row.get("choices")),
        hours=hours,
        own_hours=own,
        access=group,
        assembly=str(row.get("assembly", opened.assembly if opened else "")),
        targets=tuple(row.get("targets") or ((opened.target,) if opened and opened.target else ())),
        consumables=entries.three((*at, "consumables"), row.get("consumables", [0, 0, 0]), money=True),
        outside=tuple(
            OutsideWork(
                str(line.get("what", "")),
                entries.three((*at, "outside", i, "money"), line.get("money"), money=True),
            )
            for i, line in enumerate(row.get("outside") or ())
        ),
        waits=tuple(
            Wait(str(line.get("what", "")), entries.three((*at, "waits", i, "days"), line.get("days")))
            for i, line in enumerate(row.get("waits") or ())
        ),
        fixes=entries.share((*at, "fixes"), row.get("fixes")),
        redo=Redo(
            entries.share((*at, "redo", "chance"), redo.get("chance", 0)),
            entries.number((*at, "redo", "money"), redo.get("money", 0)) * 10**entries.minor,
            entries.number((*at, "redo", "hours"), redo.get("hours", 0)),
        ),
        grows=tuple(
            (other, entries.share((*at, "grows", other), chance))
            for other, chance in (row.get("grows") or {}).items()
        ),
        tools=tuple(row.get("tools") or ()),
        helper=entries.word((*at, "helper"), row.get("helper", "none"), HELPER),
        skill=int(entries.number((*at, "skill"), row.get("skill", 1))),
        alignment=row.get("alignment") is True,
        layout=entries.word((*at, "layout"), row.get("layout", "any"), LAYOUTS),
        note=str(row.get("note", "")),
        cautions=_cautions(entries, (*at, "cautions"), row.get("cautions") or []),
    )


def _cautions(entries: _Entries, at: tuple[Any, ...], keys: list[Any]) -> tuple[str, ...]:
    for key in keys:
        try:
            caution(str(key))
        except BadEntry as error:
            entries.complain(at, error.message, value=key, allowed=error.allowed)
    return tuple(str(key) for key in keys)


def _choices(entries: _Entries, at: tuple[Any, ...], rows: Any) -> dict[str, PartChoice]:
    if not isinstance(rows, dict) or not rows:
        entries.complain((*at, "choices"), "A repair needs at least one choice.", allowed=", ".join(CHOICES))
        return {}
    found = {}
    for kind, row in rows.items():
        here = (*at, "choices", kind)
        entries.word(here, kind, CHOICES)
        found[kind] = PartChoice(
            kind,
            entries.three((*here, "money"), row.get("money"), money=True),
            entries.three((*here, "lead_days"), row.get("lead_days", [0, 0, 0])),
            entries.three((*here, "core_deposit"), row["core_deposit"], money=True)
            if row.get("core_deposit")
            else None,
            entries.share((*here, "hours_share"), row.get("hours_share", 1)),
            str(row.get("note", "")),
        )
    return found


def _while_there(
    entries: _Entries, section: dict[str, Any], access: Mapping[str, Access]
) -> dict[str, WhileThere]:
    found = {}
    for group, rows in section.items():
        if group not in access:
            entries.complain(("while_there", group), f"{group!r} is not an access group.", value=group)
        for key, row in rows.items():
            at = ("while_there", group, key)
            found[f"{group}.{key}"] = WhileThere(
                f"{group}.{key}",
                str(row.get("name", key)),
                group,
                entries.three((*at, "money"), row.get("money"), money=True),
                entries.number((*at, "hours_now"), row.get("hours_now")),
                entries.number((*at, "hours_later"), row.get("hours_later")),
                entries.share((*at, "chance_later"), row.get("chance_later")),
                str(row.get("do_if", "")),
            )
    return found
