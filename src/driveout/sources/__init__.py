"""The shelf: where every standard, table and paper that a number leans on is named."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache

from driveout.errors import BadEntry
from driveout.files import shipped

__all__ = ["HOW_KNOWN", "Source", "cite", "shelf"]

HOW_KNOWN = ("read", "computed", "recalled")


@dataclass(frozen=True)
class Source:
    """One source; ``how_known`` says whether we read it, computed it, or recall it from memory."""

    key: str
    title: str
    author: str
    year: str
    edition: str
    where: str
    licence: str
    how_known: str


@cache
def shelf() -> dict[str, Source]:
    """All sources by key."""
    table = tomllib.loads(shipped("driveout.sources", "shelf.toml").decode())
    return {
        key: Source(
            key,
            str(row["title"]),
            str(row.get("author", "")),
            str(row.get("year", "")),
            str(row.get("edition", "")),
            str(row.get("where", "")),
            str(row.get("licence", "")),
            str(row["how_known"]),
        )
        for key, row in table.items()
    }


def cite(key: str) -> Source:
    """Return one source, or say that it is not on the shelf."""
    if key not in shelf():
        raise BadEntry(f"The source {key!r} is not on the shelf.", field="source", value=key)
    return shelf()[key]
