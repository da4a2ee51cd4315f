"""A person's own network of causes and findings as a YAML or JSON file, ``driveout-network/1``.

The format is written down with an example in docs/formats/network.md.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from typing import Any, TypeVar

from driveout.errors import BadEntry, BadRows
from driveout.faults.network import (
    COMMON_PRACTICE,
    Arc,
    Beta,
    Cause,
    Finding,
    Link,
    Network,
    Odds,
    Root,
    State,
    Table,
)
from driveout.files import Document, yaml_document

SCHEMA = "driveout-network/1"
EVIDENCE_SCHEMA = "driveout-evidence/1"
BELIEF_KEYS = {"mean", "weight", "a", "b", "origin"}

Path = tuple[Hashable, ...]
T = TypeVar("T")


class Entries:
    """Reads values out of a document; what cannot be used is collected, not thrown one by one."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.bad: list[BadEntry] = []
        self.origin = COMMON_PRACTICE
        self.weight = 5.0

    def refuse(self, path: Path, message: str, value: object = None, allowed: str = "") -> BadEntry:
        """Make the complaint about one key."""
        return self.document.bad(path, message, value=value, allowed=allowed)

    def collect(self, make: Callable[[], T]) -> T | None:
        """What ``make`` gives, or None after noting why not."""
        try:
            return make()
        except BadRows as error:
            self.bad += error.entries
        except BadEntry as error:
            self.bad.append(error)
        return None

    def done(self) -> None:
        """Raise what was collected: one complaint as it is, several together."""
        if len(self.bad) == 1:
            raise self.bad[0]
        if self.bad:
            raise BadRows(self.bad, f"{len(self.bad)} entries of {self.document.name} cannot be used.")

    def mapping(self, data: Any, path: Path) -> dict[str, Any]:
        """A section with keys; an empty one may be left out."""
        if data is None:
            return {}
        if not isinstance(data, dict):
            raise self.refuse(path, f"{_last(path)} must have keys of its own, not {data!r}.", data)
        return {word(key): value for key, value in data.items()}

    def only(self, data: Mapping[str, Any], allowed: set[str], path: Path) -> None:
        """Refuse keys that mean nothing, so that a slip of the pen is not silently ignored."""
        for key in data:
            if key not in allowed:
                raise self.refuse(
                    (*path, key), f"{key!r} is not a known key here.", key, ", ".join(sorted(allowed))
                )

    def number(self, data: Any, path: Path, low: float = 0.0, high: float = 1.0) -> float:
        """A number in a range (a chance unless said otherwise)."""
        if isinstance(data, bool) or not isinstance(data, (int, float)) or not low <= data <= high:
            raise self.refuse(
                path,
                f"{_last(path)} is {data!r}; it must be a number from {low:g} to {high:g}.",
                data,
                f"{low:g} to {high:g}",
            )
        return float(data)

    def text(self, data: Any, path: Path, default: str = "") -> str:
        """A piece of text."""
        if data is None:
            return default
        if not isinstance(data, (str, int, float)):
            raise self.refuse(path, f"{_last(path)} must be text, not {data!r}.", data)
        return word(data)

    def words(self, data: Any, path: Path) -> tuple[str, ...]:
        """A list of words."""
        if data is None:
            return ()
        if not isinstance(data, list):
            raise self.refuse(path, f"{_last(path)} must be a list, not {data!r}.", data)
        return tuple(word(entry) for entry in data)

    def belief(self, data: Any, path: Path) -> Beta:
        """A chance: a number, or mean and weight, or counts a and b, each with its origin."""
        if not isinstance(data, dict):
            return Beta.of(self.number(data, path), self.weight, self.origin)
        self.only(data, BELIEF_KEYS, path)
        origin = self.text(data.get("origin"), (*path, "origin"), self.origin)
        if "mean" in data:
            weight = self.number(data.get("weight", self.weight), (*path, "weight"), 1e-9, 1e12)
            return Beta.of(self.number(data["mean"], (*path, "mean")), weight, origin)
        if "a" in data and "b" in data:
            a = self.number(data["a"], (*path, "a"), 0, 1e12)
            b = self.number(data["b"], (*path, "b"), 0, 1e12)
            if a + b > 0:
                return Beta(a, b, origin)
        raise self.refuse(path, f"{_last(path)} needs 'mean', or 'a' and 'b' that are not both 0.", data)

    def beliefs(self, data: Any, path: Path, count: int) -> tuple[Beta, ...]:
        """One chance for each outcome above the first."""
        rows = data if isinstance(data, list) else [data]
        if len(rows) != count:
            raise self.refuse(
                path,
                f"{_last(path)} has {len(rows)} numbers; it needs {count}, one for each outcome above the first.",
                data,
            )
        found = tuple(
            self.belief(x, (*path, k) if isinstance(data, list) else path) for k, x in enumerate(rows)
        )
        if sum(beta.mean for beta in found) > 1 + 1e-12:
            raise self.refuse(path, f"{_last(path)} adds up to more than 1.", data)
        return found


def word(data: Any) -> str:
    """A key or label as text; YAML reads bare yes and no as truth values."""
    if data is True:
        return "yes"
    if data is False:
        return "no"
    return str(data)


def _last(path: Path) -> str:
    return repr(str(path[-1])) if path else "the file"


def read_network(text: str | bytes, name: str = "network") -> Network:
    """Read a network file.

    Parameters
    ----------
    text
        The file's content, YAML or JSON.
    name
        Its name, for messages.

    Returns
    -------
    Network
        The checked network.

    Raises
    ------
    BadEntry
        Names file, line and key of what cannot be used; several together as ``BadRows``.
    """
    document = yaml_document(text, name, SCHEMA)
    entries = Entries(document)
    data = entries.mapping(document.data, ())
    entries.only(
        data,
        {
            "schema",
            "name",
            "note",
            "origin",
            "weight",
            "common",
            "roots",
            "causes",
            "findings",
            "arcs",
            "tables",
        },
        (),
    )
    entries.origin = entries.text(data.get("origin"), ("origin",), COMMON_PRACTICE)
    entries.weight = entries.number(data.get("weight", 5.0), ("weight",), 1e-9, 1e12)
    common = entries.number(data.get("common", 0.0), ("common",), 0.0, 0.999)
    roots = _each(entries, data, "roots", _root)
    causes = _each(entries, data, "causes", lambda e, k, d, p: _cause(e, k, d, p, roots))
    findings = _each(entries, data, "findings", lambda e, k, d, p: _finding(e, k, d, p, causes, roots))
    arcs = _list(entries, data, "arcs", lambda e, d, p: _arc(e, d, p, causes))
    tables = _list(entries, data, "tables", lambda e, d, p: _table(e, d, p, causes))
    entries.done()
    if not causes:
        raise document.bad(("causes",), "The network has no causes. Give at least one.")
    try:
        return Network(
            tuple(causes.values()), tuple(findings.values()), tuple(roots.values()), arcs, tables, common
        )
    except BadEntry as error:
        path = tuple(error.field.split(".")) if error.field else ()
        raise document.bad(path, error.message, value=error.value) from error


def _each(
    entries: Entries,
    data: Mapping[str, Any],
    section: str,
    make: Callable[[Entries, str, dict[str, Any], Path], T],
) -> dict[str, T]:
    rows = entries.collect(lambda: entries.mapping(data.get(section), (section,))) or {}
    found: dict[str, T] = {}
    for key, row in rows.items():
        path = (section, key)
        made = entries.collect(lambda: make(entries, key, entries.mapping(row, path), path))  # noqa: B023
        if made is not None:
            found[key] = made
    return found


def _list(
    entries: Entries,
    data: Mapping[str, Any],
    section: str,
    make: Callable[[Entries, dict[str, Any], Path], T],
) -> tuple[T, ...]:
    rows = data.get(section) or []
    if not isinstance(rows, list):
        entries.bad.append(entries.refuse((section,), f"{section!r} must be a list.", rows))
        return ()
    found = []
    for k, row in enumerate(rows):
        path = (section, k)
        made = entries.collect(lambda: make(entries, entries.mapping(row, path), path))  # noqa: B023
        if made is not None:
            found.append(made)
    return tuple(found)


def _root(entries: Entries, key: str, row: dict[str, Any], path: Path) -> Root:
    entries.only(row, {"name", "states"}, path)
    states = entries.mapping(row.get("states"), (*path, "states"))
    chances = tuple(entries.number(v, (*path, "states", k)) for k, v in states.items())
    if not chances or abs(sum(chances) - 1) > 1e-9:
        raise entries.refuse((*path, "states"), f"The states of {key!r} must have chances that add up to 1.")
    return Root(key, entries.text(row.get("name"), (*path, "name"), key), tuple(states), chances)


def odds_of(entries: Entries, data: Any, path: Path, roots: Mapping[str, Root]) -> tuple[Odds, ...]:
    """Odds factors by root and state; a state that is left out has factor 1."""
    found = []
    for root, factors in entries.mapping(data, path).items():
        if root not in roots:
            raise entries.refuse((*path, root), f"{root!r} is not a root.", root, ", ".join(roots))
        given = entries.mapping(factors, (*path, root))
        entries.only(given, set(roots[root].states), (*path, root))
        found.append(
            Odds(
                root,
                tuple(
                    entries.number(given.get(s, 1.0), (*path, root, s), 0.0, 1e6) for s in roots[root].states
                ),
            )
        )
    return tuple(found)


def _cause(entries: Entries, key: str, row: dict[str, Any], path: Path, roots: Mapping[str, Root]) -> Cause:
    entries.only(row, {"name", "prior", "states", "odds", "system", "fault"}, path)
    states = []
    for state, given in entries.mapping(row.get("states"), (*path, "states")).items():
        at = (*path, "states", state)
        if not isinstance(given, dict):
            given = {"share": given}
        entries.only(given, {"name", "share", "fault"}, at)
        states.append(
            State(
                state,
                entries.text(given.get("name"), (*at, "name"), state),
                entries.number(given.get("share", 1.0), (*at, "share"), 0.0, 1e9),
                entries.text(given.get("fault"), (*at, "fault")),
            )
        )
    if not states:
        states = [State("present", fault=entries.text(row.get("fault"), (*path, "fault")))]
    if "prior" not in row:
        raise entries.refuse(path, f"{key!r} has no prior. Give the chance that it is there.")
    return Cause(
        key,
        entries.text(row.get("name"), (*path, "name"), key),
        entries.belief(row["prior"], (*path, "prior")),
        tuple(states),
        odds_of(entries, row.get("odds"), (*path, "odds"), roots),
        entries.text(row.get("system"), (*path, "system")),
    )


def _finding(
    entries: Entries,
    key: str,
    row: dict[str, Any],
    path: Path,
    causes: Mapping[str, Cause],
    roots: Mapping[str, Root],
) -> Finding:
    entries.only(
        row, {"name", "kind", "outcomes", "false_alarm", "shows", "mention", "group", "check", "odds"}, path
    )
    outcomes = entries.words(row.get("outcomes"), (*path, "outcomes")) or ("no", "yes")
    levels = len(outcomes) - 1
    kind = entries.text(row.get("kind"), (*path, "kind"), "check")
    if kind not in ("advert", "check"):
        raise entries.refuse((*path, "kind"), f"kind is {kind!r}.", kind, "advert, check")
    links: list[Link] = []
    for cause, given in entries.mapping(row.get("shows"), (*path, "shows")).items():
        at = (*path, "shows", cause)
        if cause not in causes:
            raise entries.refuse(at, f"{cause!r} is not a cause of this network.", cause)
        if isinstance(given, dict) and not set(map(word, given)) <= BELIEF_KEYS:
            for state, numbers in entries.mapping(given, at).items():
                if state not in [s.id for s in causes[cause].states]:
                    raise entries.refuse((*at, state), f"{cause!r} has no state {state!r}.", state)
                links.append(Link(cause, entries.beliefs(numbers, (*at, state), levels), state))
        else:
            links.append(Link(cause, entries.beliefs(given, at, levels)))
    return Finding(
        key,
        entries.text(row.get("name"), (*path, "name"), key),
        tuple(links),
        entries.beliefs(
            row.get("false_alarm", 0.0 if levels == 1 else [0.0] * levels), (*path, "false_alarm"), levels
        ),
        outcomes,
        kind,
        entries.belief(row.get("mention", 0.5 if kind == "advert" else 0.0), (*path, "mention")),
        entries.text(row.get("group"), (*path, "group")),
        entries.text(row.get("check"), (*path, "check")),
        odds_of(entries, row.get("odds"), (*path, "odds"), roots),
    )


def _arc(entries: Entries, row: dict[str, Any], path: Path, causes: Mapping[str, Cause]) -> Arc:
    entries.only(row, {"from", "to", "chance", "when", "state", "note"}, path)
    ends = [entries.text(row.get(key), (*path, key)) for key in ("from", "to")]
    for key, end in zip(("from", "to"), ends, strict=True):
        if end not in causes:
            raise entries.refuse((*path, key), f"{end!r} is not a cause of this network.", end)
    return Arc(
        ends[0],
        ends[1],
        entries.belief(row.get("chance"), (*path, "chance")),
        entries.words(row.get("when"), (*path, "when")),
        entries.text(row.get("state"), (*path, "state")),
    )


def _table(entries: Entries, row: dict[str, Any], path: Path, causes: Mapping[str, Cause]) -> Table:
    entries.only(row, {"child", "parents", "rows", "note"}, path)
    rows = []
    for k, line in enumerate(row.get("rows") or []):
        at = (*path, "rows", k)
        line = entries.mapping(line, at)
        entries.only(line, {"when", "then"}, at)
        then = line.get("then")
        chances = then if isinstance(then, list) else [then]
        rows.append(
            (
                entries.words(line.get("when"), (*at, "when")),
                tuple(entries.number(x, (*at, "then", j)) for j, x in enumerate(chances)),
            )
        )
    child = entries.text(row.get("child"), (*path, "child"))
    parents = entries.words(row.get("parents"), (*path, "parents"))
    for end in (child, *parents):
        if end not in causes:
            raise entries.refuse(path, f"{end!r} is not a cause of this network.", end)
    return Table(child, parents, tuple(rows))


def read_findings(text: str | bytes, name: str = "evidence") -> dict[str, str]:
    """Read an evidence file: finding id to outcome, bare or under the key ``evidence``.

    Parameters
    ----------
    text
        The file's content, YAML or JSON.
    name
        Its name, for messages.

    Returns
    -------
    dict[str, str]
        Finding id to outcome label.

    Raises
    ------
    BadEntry
        When it is not a list of findings with one outcome each.
    """
    document = yaml_document(text, name, None)
    data = document.data
    if isinstance(data, dict) and data.get("schema") not in (None, EVIDENCE_SCHEMA):
        raise document.bad(
            ("schema",), f"schema is {data['schema']!r}.", value=data["schema"], allowed=EVIDENCE_SCHEMA
        )
    if isinstance(data, dict) and "evidence" in data:
        data = data["evidence"]
    if not isinstance(data, dict):
        raise document.bad((), "Evidence must be lines of 'finding: outcome'.")
    found = {}
    for key, label in data.items():
        if key == "schema":
            continue
        if isinstance(label, (dict, list)) or label is None:
            raise document.bad((key,), f"{key!r} needs one outcome, not {label!r}.", value=label)
        found[word(key)] = word(label)
    return found
