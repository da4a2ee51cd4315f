"""One thing read from an advert: its value, the words that led to it, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from driveout.hunt.plain_text import Words
from driveout.units import Money

Confidence = Literal["sure", "likely", "guess"]
Value = Money | int | str | bool


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another value the words could mean."""

    value: Value
    words: Words


@dataclass(frozen=True, slots=True)
class Read:
    """One fact, symptom, trap, extra or bargaining sign, with its origin.

    Attributes
    ----------
    what
        ``asking``, ``made_year``, ``mileage_km``, ``title``, ``runs``, ``gearbox``, ``drive``,
        ``is_turbo``, ``symptom``, ``repaired``, ``older price``, ``trap``, ``extra``, ``bargaining``, ``seller.is_owner``, ``seller.has_title_in_hand``,
        ``seller.is_trade``, ``place``, ``name``.
    value
        What was understood; for a symptom the finding, for a trap its identifier.
    words
        Where it stands in the shown text.
    confidence
        ``sure``, ``likely`` or ``guess``.
    said
        ``no`` when the advert denies it ("no rust").
    hedged
        True when the seller only supposes it.
    alternatives
        Other values the words could mean.
    note
        One sentence for the person, or empty.
    """

    what: str
    value: Value
    words: Words
    confidence: Confidence = "likely"
    said: Literal["yes", "no"] = "yes"
    hedged: bool = False
    alternatives: tuple[Alternative, ...] = ()
    note: str = ""


def value_text(value: Value) -> str:
    """A value in words for the screen."""
    if isinstance(value, Money):
        return value.text()
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:,}" if isinstance(value, int) and value > 9999 else str(value)
