"""Usual minutes for undoing and refitting, and the cautions shown with the work."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from driveout.errors import BadEntry
from driveout.files import shipped, yaml_document


@dataclass(frozen=True)
class Caution:
    """Where the work can hurt: what to mind, and the source of the words."""

    key: str
    title: str
    text: str
    source: str


@cache
def _practice() -> dict[str, Any]:
    document = yaml_document(
        shipped("driveout.workshop", "data/practice.yaml"), "practice.yaml", "driveout-practice/1"
    )
    data: dict[str, Any] = document.data
    return data


def link_minutes(kind: str, place: str, count: int) -> tuple[float, float]:
    """Usual minutes to undo and to refit a link.

    Parameters
    ----------
    kind
        Kind of link.
    place
        From where it is reached.
    count
        Number of pieces.

    Returns
    -------
    tuple
        Minutes off and on; a base per link and a share per piece, stretched by the place. [min]

    References
    ----------
    common-practice, from memory; data/practice.yaml.
    """
    table = _practice()
    factor = float(table["place_factor"][place])
    off_base, off_each = table["minutes"][kind]["off"]
    on_base, on_each = table["minutes"][kind]["on"]
    return (
        round(factor * (off_base + off_each * count), 2),
        round(factor * (on_base + on_each * count), 2),
    )


def airbag_wait_minutes(maker_minutes: float | None = None) -> float:
    """Wait after the battery is off: 10 minutes, or longer if the maker says so, in minutes."""
    usual = float(_practice()["airbag_wait_minutes"])
    return max(usual, maker_minutes or 0.0)


def caution(key: str) -> Caution:
    """Return one caution by key, or say which there are."""
    table = _practice()["cautions"]
    if key not in table:
        raise BadEntry(f"There is no caution {key!r}.", field="cautions", value=key, allowed=", ".join(table))
    row = table[key]
    return Caution(key, row["title"], row["text"], row["source"])
