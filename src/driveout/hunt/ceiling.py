"""The walk-away price and what moves it: one input at a time from its low to its high.

The price itself is computed in the outlook, which every new fact renews; here it is opened.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from driveout.errors import BadEntry, CannotSay
from driveout.outlook import (
    Case,
    Ceiling,
    Forecast,
    RuleCeiling,
    Rules,
    ceiling_from,
    ceiling_of,
    chosen_price,
)

__all__ = [
    "Ceiling",
    "RuleCeiling",
    "Swing",
    "ceiling_from",
    "ceiling_of",
    "rule_variants",
    "tornado",
]


@dataclass(frozen=True)
class Swing:
    """What one input does to the walk-away price when it goes from its P10 to its P90.

    Parameters
    ----------
    label
        The input, as a person reads it.
    at_low, at_high
        Walk-away price with the input at its P10 and at its P90. [minor units]
    """

    label: str
    at_low: float
    at_high: float

    @property
    def width(self) -> float:
        """How far the walk-away price swings."""
        return abs(self.at_high - self.at_low)


def tornado(
    variants: Mapping[str, tuple[Case, Case]], like: Forecast | None = None, *, points: int = 512
) -> tuple[Swing, ...]:
    """Walk-away price with one input at a time at its low and its high, widest first.

    Parameters
    ----------
    variants
        Per input the case with it at its P10 and the case with it at its P90.
    like
        Forecast of the case itself, whose grid the variants then share.
    points
        Grid points; a coarse grid is enough for an order.

    Returns
    -------
    tuple[Swing, ...]
        Widest swing first; inputs whose cases cannot be computed are left out.
    """
    swings = []
    for label, (low, high) in variants.items():
        try:
            swings.append(
                Swing(
                    label,
                    chosen_price(Forecast(low, points, like)),
                    chosen_price(Forecast(high, points, like)),
                )
            )
        except (CannotSay, BadEntry):
            continue
    return tuple(sorted(swings, key=lambda s: -s.width))


def rule_variants(case: Case) -> dict[str, tuple[Case, Case]]:
    """The inputs that every case has: resale, hours outside the work, days, wage, holding cost.

    Ranges are read at their P10 and P90; single figures are moved a fifth down and up.
    """
    rules = case.rules
    low, high = case.value
    found = {
        "Sale price of the mended car": (replace(case, value=(low, low)), replace(case, value=(high, high)))
    }
    for name, label in (
        ("wage_per_hour", "Your wage an hour"),
        ("holding_per_day", "Holding cost a day"),
        ("hours_per_week", "Own hours a week"),
        ("loss_chance", "Chance of a loss that you accept"),
    ):
        now = getattr(rules, name)
        if now > 0:
            found[label] = (
                replace(case, rules=_changed(rules, name, now * 0.8)),
                replace(case, rules=_changed(rules, name, now * 1.2)),
            )
    return found


def _changed(rules: Rules, name: str, value: float) -> Rules:
    change: dict[str, Any] = {name: value}
    return replace(rules, **change)
