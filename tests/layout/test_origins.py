"""No shipped number without its origin: a key of the shelf, or the words common practice or from memory."""

from __future__ import annotations

import dataclasses
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from driveout.faults import Beta, shipped_network
from driveout.sources import shelf
from driveout.wear import shipped_limits

SOURCE = Path(__file__).parents[2] / "src" / "driveout"
FILES = sorted(
    path
    for kind in ("yaml", "toml")
    for path in SOURCE.glob(f"*/data/**/*.{kind}")
    if path.parts[-3] != "demo"
)
ORIGIN_KEYS = ("source", "origin", "basis")
PLAIN = re.compile(r"common[ -]practice|from memory|own reasoning|own wording")
KEY = re.compile(r"^[a-z0-9]+(-[a-z0-9.]+)+")


def is_origin(value: Any) -> bool:
    """A shelf key (perhaps with the place behind it), several of them, or the plain words."""
    if isinstance(value, list):
        return bool(value) and all(map(is_origin, value))
    text = str(value)
    key = KEY.match(text)
    return bool(PLAIN.search(text)) or (key is not None and key.group(0) in shelf())


def uncited(node: Any, path: str, covered: bool) -> Iterator[str]:
    if isinstance(node, dict):
        covered = covered or any(key in node and is_origin(node[key]) for key in ORIGIN_KEYS)
        for key, value in node.items():
            if key not in ORIGIN_KEYS:
                yield from uncited(value, f"{path}.{key}", covered)
    elif isinstance(node, list):
        for number, value in enumerate(node):
            yield from uncited(value, f"{path}.{number}", covered)
    elif isinstance(node, (int, float)) and not isinstance(node, bool) and not covered:
        yield path


@pytest.mark.parametrize("file", FILES, ids=lambda path: f"{path.parts[-3]}/{path.name}")
def test_every_number_of_a_shipped_file_has_an_origin_on_its_way_up(file: Path) -> None:
    text = file.read_text()
    data = tomllib.loads(text) if file.suffix == ".toml" else yaml.safe_load(text)

    assert list(uncited(data, file.stem, False)) == []


def betas(thing: Any) -> Iterator[Beta]:
    if isinstance(thing, Beta):
        yield thing
    elif dataclasses.is_dataclass(thing):
        for field in dataclasses.fields(thing):
            yield from betas(getattr(thing, field.name))
    elif isinstance(thing, (tuple, list)):
        for one in thing:
            yield from betas(one)


@pytest.mark.parametrize("runs", ["runner", "sick", "dead"])
def test_every_chance_of_the_shipped_network_says_where_it_comes_from(runs: str) -> None:
    origins = {beta.origin for beta in betas(shipped_network(runs))}

    assert origins
    assert all(map(is_origin, origins)), origins


def test_every_limit_names_a_source_on_the_shelf_and_recalled_ones_never_decide() -> None:
    limits = shipped_limits()

    assert limits
    assert all(limit.source in shelf() for limit in limits)


def test_the_load_index_table_marks_each_row_as_read_or_recalled() -> None:
    rows = (SOURCE / "wear" / "data" / "load_index.csv").read_text().splitlines()[1:]

    assert len(rows) == 120
    assert all(row.split(",")[2].startswith(("read", "recalled")) for row in rows)


def test_the_check_itself_finds_a_number_without_origin() -> None:
    assert list(uncited({"a": {"b": 1}, "c": {"source": "no-such-key", "d": [2]}}, "x", False)) == [
        "x.a.b",
        "x.c.d.0",
    ]
