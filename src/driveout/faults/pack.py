"""The knowledge pack: faults, checks and what shows what, as shipped and as the person changed it.

One YAML file per system under ``data/``. A person's own file of the same form (``driveout-pack/1``)
extends or overrides it by id; ``remove: true`` takes an entry out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from driveout.errors import BadEntry
from driveout.faults.network import COMMON_PRACTICE, Beta
from driveout.faults.network_file import Entries, Path, word
from driveout.files import shipped, yaml_document
from driveout.units import Money

SCHEMA = "driveout-pack/1"
CLASSES = ("runner", "sick", "dead")
SAFETY = ("none", "minor", "major", "critical")
DRIVE_HOME = ("fine", "short", "never")
NEVER = Beta(0.0, 1.0)
SYSTEMS = (
    "engine", "cooling", "fuel", "ignition", "exhaust", "clutch", "gearbox", "driveline",
    "suspension", "steering", "brakes", "tyres", "electrics", "charging", "climate", "airbags",
    "body", "rust", "paint", "glass", "interior", "papers",
)  # fmt: skip
_FILES = ("background", *SYSTEMS, "competing", "checks")
_SECTIONS = ("faults", "findings", "checks", "competing")
_FAULT = {
    "name", "system", "prior", "neglect", "wear", "applies", "value_loss", "slow", "safety",
    "drive_home", "note", "remove",
}  # fmt: skip
_FINDING = {
    "name", "words", "check", "outcomes", "shows", "false_alarm", "mention", "group", "neglect", "note",
    "remove",
}  # fmt: skip
_CHECK = {
    "do", "minutes", "money", "stage", "needs", "tools", "caution", "purpose", "remove",
}  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """One thing that can be wrong, as the pack knows it.

    ``prior`` is the chance per advert class over all cars of the class; ``neglect`` the odds
    ratio between neglected and cared-for cars; ``wear`` the odds factor per 100,000 km.
    ``value_loss`` is the share of the clean private value lost when the fault is left and
    disclosed (low, likely, high); ``slow`` multiplies the days to sell when it is left.
    """

    id: str
    name: str
    system: str
    prior: Mapping[str, Beta]
    neglect: float = 1.0
    wear: float = 1.0
    applies: tuple[str, ...] = ()
    value_loss: tuple[float, float, float] = (0.0, 0.0, 0.0)
    slow: float = 1.0
    safety: str = "none"
    drive_home: str = "fine"
    note: str = ""


@dataclass(frozen=True)
class Check:
    """Something to do at the car: minutes and money it takes, what it needs, what can hurt."""

    id: str
    do: str
    minutes: float
    money: Money
    stage: str
    needs: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    caution: str = ""
    purpose: str = "diagnosis"
    findings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sign:
    """A finding as the pack knows it: which faults show it, and how often it shows without them.

    With ``words`` it is something an advert says; otherwise a check yields it.
    """

    id: str
    name: str
    shows: Mapping[str, tuple[Beta, ...]]
    false_alarm: tuple[Beta, ...]
    outcomes: tuple[str, ...] = ("no", "yes")
    words: tuple[str, ...] = ()
    check: str = ""
    mention: Beta = NEVER
    group: str = ""
    neglect: float = 1.0
    system: str = ""


@dataclass(frozen=True)
class Competing:
    """Faults that exclude each other as explanations of one symptom."""

    id: str
    name: str
    faults: tuple[str, ...]
    neglect: float = 1.0


@dataclass(frozen=True)
class Brings:
    """One fault that brings another."""

    parent: str
    child: str
    chance: Beta
    note: str = ""


@dataclass(frozen=True)
class Background:
    """What holds for all faults: care, mention, common misses, mileage, open traits."""

    neglected: float
    mention: Beta
    common: float
    mileage_km: float
    most_wear_factor: float
    traits: Mapping[str, float]


@dataclass(frozen=True, eq=False)
class Pack:
    """Everything the pack knows, by id."""

    faults: Mapping[str, Fault]
    signs: Mapping[str, Sign]
    checks: Mapping[str, Check]
    competing: Mapping[str, Competing]
    brings: tuple[Brings, ...]
    background: Background
    origins: Mapping[str, str] = field(default_factory=dict)

    @property
    def words(self) -> dict[str, tuple[str, ...]]:
        """Words of an advert that stand for a finding, by finding id."""
        return {sign.id: sign.words for sign in self.signs.values() if sign.words}


@lru_cache(maxsize=16)
def knowledge(overrides: str | bytes | None = None, name: str = "own pack") -> Pack:
    """The shipped pack, with a person's own file laid over it.

    Parameters
    ----------
    overrides
        Content of a ``driveout-pack/1`` file, or None.
    name
        Its name, for messages.

    Returns
    -------
    Pack
        Faults, findings, checks and competing groups that refer to each other correctly.

    Raises
    ------
    BadEntry
        Names file, line and key of what does not hold together.
    """
    layers = [
        Entries(yaml_document(shipped("driveout.faults", f"data/{stem}.yaml"), f"{stem}.yaml", SCHEMA))
        for stem in _FILES
    ]
    if overrides is not None:
        layers.append(Entries(yaml_document(overrides, name, SCHEMA)))
    return _Builder(layers).pack()


class _Builder:
    """Lays the files over each other by id, then reads every entry with its own file and line."""

    def __init__(self, layers: list[Entries]) -> None:
        self.layers = layers
        self.rows: dict[str, dict[str, tuple[Entries, dict[str, Any]]]] = {s: {} for s in _SECTIONS}
        self.brings: list[tuple[Entries, dict[str, Any], Path]] = []
        self.background: tuple[Entries, dict[str, Any]] = (layers[0], {})
        self.currency = "USD"
        for entries in layers:
            entries.collect(lambda: self._lay(entries))  # noqa: B023

    def _lay(self, entries: Entries) -> None:
        data = entries.mapping(entries.document.data, ())
        plain = {
            "schema", "system", "origin", "weight", "currency", "brings", "care", "mention", "common",
            "mileage_km", "most_wear_factor", "traits", "note",
        }  # fmt: skip
        entries.only(data, {*plain, *_SECTIONS}, ())
        entries.origin = entries.text(data.get("origin"), ("origin",), COMMON_PRACTICE)
        entries.weight = entries.number(data.get("weight", 5.0), ("weight",), 1e-9, 1e12)
        self.currency = entries.text(data.get("currency"), ("currency",), self.currency)
        system = entries.text(data.get("system"), ("system",))
        for section in _SECTIONS:
            for key, row in entries.mapping(data.get(section), (section,)).items():
                row = entries.mapping(row, (section, key))
                before = self.rows[section].get(key, (entries, {}))[1]
                if row.get("remove") is True:
                    if key not in self.rows[section]:
                        raise entries.refuse((section, key), f"{key!r} is not there to be removed.", key)
                    del self.rows[section][key]
                else:
                    home = {} if before or not system else {"system": system}
                    self.rows[section][key] = (entries, {**home, **before, **row})
        for k, row in enumerate(data.get("brings") or []):
            self.brings.append((entries, entries.mapping(row, ("brings", k)), ("brings", k)))
        common = {key: data[key] for key in plain & data.keys() if key in _BACKGROUND}
        self.background = (entries if common else self.background[0], {**self.background[1], **common})

    def pack(self) -> Pack:
        self._raise_collected()
        faults = self._section("faults", self._fault)
        checks = self._section("checks", self._check)
        signs = self._section("findings", lambda e, k, r: self._sign(e, k, r, faults, checks))
        competing = self._section("competing", lambda e, k, r: self._competing(e, k, r, faults))
        brings = tuple(b for row in self.brings if (b := self._brings(row, faults)))
        background = _background(*self.background)
        self._raise_collected()
        yields: dict[str, list[str]] = {}
        for sign in signs.values():
            if sign.check:
                yields.setdefault(sign.check, []).append(sign.id)
        checks = {
            key: Check(**{**vars(check), "findings": tuple(yields.get(key, ()))})
            for key, check in checks.items()
        }
        pack = Pack(faults, signs, checks, competing, brings, background)
        _check_reach(pack, self.layers[-1])
        return pack

    def _raise_collected(self) -> None:
        for entries in self.layers:
            entries.done()

    def _section(self, section: str, make: Any) -> dict[str, Any]:
        found = {}
        for key, (entries, row) in self.rows[section].items():
            made = entries.collect(lambda: make(entries, key, row))  # noqa: B023
            if made is not None:
                found[key] = made
        return found

    def _fault(self, entries: Entries, key: str, row: dict[str, Any]) -> Fault:
        at: Path = ("faults", key)
        entries.only(row, _FAULT, at)
        prior = entries.mapping(row.get("prior"), (*at, "prior"))
        entries.only(prior, set(CLASSES), (*at, "prior"))
        missing = [c for c in CLASSES if c not in prior]
        if missing:
            raise entries.refuse(
                (*at, "prior"), f"{key!r} needs a prior for {', '.join(missing)}.", allowed="0 to 1"
            )
        system = entries.text(row.get("system"), (*at, "system"))
        if system not in SYSTEMS:
            raise entries.refuse(
                (*at, "system"), f"{key!r} has system {system!r}.", system, ", ".join(SYSTEMS)
            )
        loss = [entries.number(x, (*at, "value_loss")) for x in row.get("value_loss", [0.0, 0.0, 0.0])]
        if len(loss) != 3 or sorted(loss) != loss:
            raise entries.refuse((*at, "value_loss"), "value_loss must be [low, likely, high] in this order.")
        return Fault(
            key,
            entries.text(row.get("name"), (*at, "name"), key),
            system,
            {c: entries.belief(prior[c], (*at, "prior", c)) for c in CLASSES},
            entries.number(row.get("neglect", 1.0), (*at, "neglect"), 0.0, 100.0),
            entries.number(row.get("wear", 1.0), (*at, "wear"), 0.01, 100.0),
            entries.words(row.get("applies"), (*at, "applies")),
            (loss[0], loss[1], loss[2]),
            entries.number(row.get("slow", 1.0), (*at, "slow"), 0.1, 100.0),
            _choice(entries, row.get("safety", "none"), (*at, "safety"), SAFETY),
            _choice(entries, row.get("drive_home", "fine"), (*at, "drive_home"), DRIVE_HOME),
            entries.text(row.get("note"), (*at, "note")),
        )

    def _check(self, entries: Entries, key: str, row: dict[str, Any]) -> Check:
        at: Path = ("checks", key)
        row = {k: v for k, v in row.items() if k != "system"}
        entries.only(row, _CHECK, at)
        money = row.get("money", 0)
        entries.number(money, (*at, "money"), 0, 1e6)
        return Check(
            key,
            entries.text(row.get("do"), (*at, "do"), key),
            entries.number(row.get("minutes", 0), (*at, "minutes"), 0, 10_000),
            Money.of(str(money), self.currency),
            entries.text(row.get("stage"), (*at, "stage"), "walk"),
            entries.words(row.get("needs"), (*at, "needs")),
            entries.words(row.get("tools"), (*at, "tools")),
            entries.text(row.get("caution"), (*at, "caution")),
            entries.text(row.get("purpose"), (*at, "purpose"), "diagnosis"),
        )

    def _sign(
        self,
        entries: Entries,
        key: str,
        row: dict[str, Any],
        faults: Mapping[str, Fault],
        checks: Mapping[str, Check],
    ) -> Sign:
        at: Path = ("findings", key)
        entries.only(row, {*_FINDING, "system"}, at)
        outcomes = entries.words(row.get("outcomes"), (*at, "outcomes")) or ("no", "yes")
        levels = len(outcomes) - 1
        words = entries.words(row.get("words"), (*at, "words"))
        check = "" if words else entries.text(row.get("check"), (*at, "check"), key)
        if check and check not in checks:
            raise entries.refuse((*at, "check"), f"{check!r} is not a check of the pack.", check)
        shows = {}
        for fault, given in entries.mapping(row.get("shows"), (*at, "shows")).items():
            if fault in faults:
                shows[fault] = entries.beliefs(given, (*at, "shows", fault), levels)
            elif not self._removed(fault):
                raise entries.refuse((*at, "shows", fault), f"{fault!r} is not a fault of the pack.", fault)
        neglect = entries.number(row.get("neglect", 1.0), (*at, "neglect"), 0.0, 100.0)
        if not row.get("shows") and neglect == 1.0:
            raise entries.refuse(
                at, f"{key!r} is shown by no fault and does not depend on care: it tells nothing."
            )
        name = f"Advert: {words[0]}" if words else key
        return Sign(
            key,
            entries.text(row.get("name"), (*at, "name"), name),
            shows,
            entries.beliefs(
                row.get("false_alarm", 0.0 if levels == 1 else [0.0] * levels), (*at, "false_alarm"), levels
            ),
            outcomes,
            words,
            check,
            entries.belief(
                row.get("mention", self.background[1].get("mention", 0.5) if words else 0.0),
                (*at, "mention"),
            ),
            entries.text(row.get("group"), (*at, "group")),
            neglect,
            entries.text(row.get("system"), (*at, "system")),
        )

    def _removed(self, fault: str) -> bool:
        return any(
            (entries.document.data or {}).get("faults", {}).get(fault) is not None
            for entries in self.layers
            if isinstance((entries.document.data or {}).get("faults"), dict)
        )

    def _competing(
        self, entries: Entries, key: str, row: dict[str, Any], faults: Mapping[str, Fault]
    ) -> Competing:
        at: Path = ("competing", key)
        entries.only(row, {"name", "neglect", "faults", "system", "remove", "note"}, at)
        named = entries.words(row.get("faults"), (*at, "faults"))
        for fault in named:
            if fault not in faults and not self._removed(fault):
                raise entries.refuse((*at, "faults"), f"{fault!r} is not a fault of the pack.", fault)
        return Competing(
            key,
            entries.text(row.get("name"), (*at, "name"), key),
            tuple(f for f in named if f in faults),
            entries.number(row.get("neglect", 1.0), (*at, "neglect"), 0.0, 100.0),
        )

    def _brings(
        self, row: tuple[Entries, dict[str, Any], Path], faults: Mapping[str, Fault]
    ) -> Brings | None:
        entries, data, at = row

        def make() -> Brings | None:
            entries.only(data, {"from", "to", "chance", "note"}, at)
            ends = [entries.text(data.get(k), (*at, k)) for k in ("from", "to")]
            for key, end in zip(("from", "to"), ends, strict=True):
                if end not in faults:
                    if self._removed(end):
                        return None
                    raise entries.refuse((*at, key), f"{end!r} is not a fault of the pack.", end)
            chance = entries.belief(data.get("chance"), (*at, "chance"))
            return Brings(ends[0], ends[1], chance, entries.text(data.get("note"), (*at, "note")))

        return entries.collect(make)


_BACKGROUND = ("care", "mention", "common", "mileage_km", "most_wear_factor", "traits")


def _background(entries: Entries, data: dict[str, Any]) -> Background:
    care = entries.mapping(data.get("care"), ("care",))
    traits = entries.mapping(data.get("traits"), ("traits",))
    return Background(
        entries.number(care.get("neglected", 0.0), ("care", "neglected")),
        entries.belief(data.get("mention", 0.5), ("mention",)),
        entries.number(data.get("common", 0.0), ("common",), 0.0, 0.999),
        entries.number(data.get("mileage_km", 190_000), ("mileage_km",), 1.0, 1e7),
        entries.number(data.get("most_wear_factor", 4.0), ("most_wear_factor",), 1.0, 1e6),
        {word(k): entries.number(v, ("traits", k)) for k, v in traits.items()},
    )


def _choice(entries: Entries, data: Any, path: Path, allowed: tuple[str, ...]) -> str:
    found = word(data)
    if found not in allowed:
        raise entries.refuse(path, f"{path[-1]} is {found!r}.", found, ", ".join(allowed))
    return found


def _check_reach(pack: Pack, entries: Entries) -> None:
    """Refuse faults that nothing shows, checks that tell nothing, and faults in two groups."""
    shown = {fault for sign in pack.signs.values() for fault in sign.shows}
    for fault in pack.faults:
        if fault not in shown:
            raise BadEntry(
                f"No finding shows {fault!r}, so nothing could ever speak for it. Give it a finding.",
                field=f"faults.{fault}",
                place=entries.document.name,
            )
    for check in pack.checks.values():
        if not check.findings and check.purpose == "diagnosis":
            raise BadEntry(
                f"Check {check.id!r} yields no finding. Give it one, or a purpose other than diagnosis.",
                field=f"checks.{check.id}",
                place=entries.document.name,
            )
    seen: dict[str, str] = {}
    for group in pack.competing.values():
        for fault in group.faults:
            if fault in seen:
                raise BadEntry(
                    f"{fault!r} competes in {seen[fault]!r} and in {group.id!r}; one of them is enough.",
                    field=f"competing.{group.id}",
                    place=entries.document.name,
                )
            seen[fault] = group.id
    unknown = {t for f in pack.faults.values() for t in f.applies} - set(pack.background.traits)
    if unknown:
        raise BadEntry(
            f"Traits {sorted(unknown)} have no share under traits.",
            field="traits",
            place=entries.document.name,
        )
