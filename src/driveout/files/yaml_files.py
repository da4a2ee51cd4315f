"""YAML (and JSON, which is YAML) with line numbers, size limits and no tricks."""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass
from importlib import resources
from typing import Any

import yaml

from driveout.errors import BadEntry

LARGEST_BYTES = 5_000_000
_LARGEST_ALIASES = 100
_DEEPEST = 40
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(frozen=True)
class Document:
    """Plain data of one file and where each key stands.

    Parameters
    ----------
    name
        File name as the person knows it.
    data
        Plain dicts, lists, text, numbers, booleans and None.
    lines
        Line (from 1) of each key path.
    """

    name: str
    data: Any
    lines: dict[tuple[Hashable, ...], int]

    def line(self, *path: Hashable) -> int | None:
        """Line of a key path, or of its nearest known parent."""
        for length in range(len(path), -1, -1):
            if path[:length] in self.lines:
                return self.lines[path[:length]]
        return None

    def bad(
        self,
        path: tuple[Hashable, ...],
        message: str,
        *,
        value: object = None,
        allowed: str = "",
        fix: str = "",
    ) -> BadEntry:
        """Make the complaint about one key, with ``file:line key.path`` as its place."""
        line = self.line(*path)
        dotted = ".".join(str(step) for step in path)
        place = f"{self.name}:{line}" if line else self.name
        return BadEntry(
            message,
            field=str(path[-1]) if path else "",
            value=value,
            allowed=allowed,
            fix=fix,
            place=f"{place} {dotted}".strip(),
        )


class _Reader:
    """Turns the node tree into plain data while noting lines; refuses what a data file never needs."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.lines: dict[tuple[Hashable, ...], int] = {}
        self.scalars = _LOADER("")
        self.nodes = 0

    def refuse(self, node: yaml.Node, message: str) -> BadEntry:
        return BadEntry(message, place=f"{self.name}:{node.start_mark.line + 1}")

    def plain(self, node: yaml.Node, path: tuple[Hashable, ...]) -> Any:
        self.nodes += 1
        if self.nodes > 500_000:
            raise self.refuse(node, "The file repeats itself too often (aliases). Write it out plainly.")
        if len(path) > _DEEPEST:
            raise self.refuse(node, f"The file is nested deeper than {_DEEPEST} levels.")
        self.lines.setdefault(path, node.start_mark.line + 1)
        if isinstance(node, yaml.MappingNode):
            return self.mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            if node.tag != "tag:yaml.org,2002:seq":
                raise self.refuse(node, f"The tag {node.tag} is not accepted. Use plain lists.")
            return [self.plain(item, (*path, i)) for i, item in enumerate(node.value)]
        return self.scalar(node)

    def mapping(self, node: yaml.MappingNode, path: tuple[Hashable, ...]) -> dict[Any, Any]:
        if node.tag != "tag:yaml.org,2002:map":
            raise self.refuse(node, f"The tag {node.tag} is not accepted. Use plain keys and values.")
        data: dict[Any, Any] = {}
        for key_node, value_node in node.value:
            if not isinstance(key_node, yaml.ScalarNode):
                raise self.refuse(key_node, "A key must be plain text.")
            # YAML 1.1 reads a bare `on`, `off`, `yes`, `no` key as true or false; the person meant the word.
            key = key_node.value if key_node.tag.endswith(":bool") else self.scalar(key_node)
            if key in data:
                raise self.refuse(key_node, f"The key {key!r} stands twice. Keep one of them.")
            self.lines[(*path, key)] = key_node.start_mark.line + 1
            data[key] = self.plain(value_node, (*path, key))
        return data

    def scalar(self, node: yaml.Node) -> Any:
        if not node.tag.startswith("tag:yaml.org,2002:") or node.tag.endswith((":binary", ":python")):
            raise self.refuse(node, f"The tag {node.tag} is not accepted. Use plain text and numbers.")
        try:
            value = self.scalars.construct_object(node)
        except (yaml.YAMLError, ValueError, OverflowError) as error:
            raise self.refuse(node, f"{node.value!r} cannot be read: {error}.") from error
        if isinstance(value, float) and not math.isfinite(value):
            raise self.refuse(node, f"{node.value!r} is not a finite number.")
        return value


def yaml_document(text: str | bytes, name: str, schema: str | None = None) -> Document:
    """Read one YAML or JSON file of the person.

    Parameters
    ----------
    text
        The file's content.
    name
        Its name, for messages.
    schema
        Value that the top key ``schema`` must have, for example ``driveout-network/1``;
        None when the file needs none.

    Returns
    -------
    Document
        Plain data with line numbers.

    Raises
    ------
    BadEntry
        If the file is too large, torn, not UTF-8, uses tags or too many aliases, or is of
        another schema. The place names file and line.
    """
    raw = text.encode() if isinstance(text, str) else text
    if len(raw) > LARGEST_BYTES:
        raise BadEntry(
            f"{name} has {len(raw):,} bytes; the limit is {LARGEST_BYTES:,}. Is it the right file?",
            place=name,
            allowed=f"at most {LARGEST_BYTES:,} bytes",
        )
    try:
        source = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadEntry(
            f"{name} is not UTF-8 text (byte {error.start}). Save it as UTF-8.", place=name
        ) from error
    try:
        aliases = sum(isinstance(event, yaml.AliasEvent) for event in yaml.parse(source, Loader=_LOADER))
        if aliases > _LARGEST_ALIASES:
            raise BadEntry(
                f"{name} uses {aliases} aliases; at most {_LARGEST_ALIASES} are accepted.", place=name
            )
        node = yaml.compose(source, Loader=_LOADER)
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise BadEntry(
            f"The file is torn or not YAML: {error.problem or error}. Look at this line and the one before it.",
            place=f"{name}:{line}",
        ) from error
    except (yaml.YAMLError, RecursionError) as error:
        raise BadEntry(f"The file is not readable YAML: {error}.", place=f"{name}:1") from error
    reader = _Reader(name)
    data = reader.plain(node, ()) if node is not None else None
    document = Document(name, data, reader.lines)
    if schema is not None:
        _demand_schema(document, schema)
    return document


def _demand_schema(document: Document, schema: str) -> None:
    if not isinstance(document.data, dict):
        raise BadEntry(
            f"The file holds no keys. It should start with: schema: {schema}",
            place=f"{document.name}:1",
            allowed=schema,
        )
    found = document.data.get("schema")
    if found != schema:
        raise document.bad(
            ("schema",),
            f"The file says schema {found!r}; here {schema!r} is needed.",
            value=found,
            allowed=schema,
            fix=f"Start the file with: schema: {schema}",
        )


def shipped(package: str, path: str) -> bytes:
    """Read a data file that comes with the package, for example ``("driveout.faults", "data/engine.yaml")``."""
    place = resources.files(package)
    for step in path.split("/"):
        place = place.joinpath(step)
    return place.read_bytes()
