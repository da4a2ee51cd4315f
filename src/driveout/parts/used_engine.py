"""What to ask, compare and look at before paying for a used engine or gearbox."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

from driveout.errors import BadEntry
from driveout.files import shipped, yaml_document


@dataclass(frozen=True)
class UsedEngineList:
    """The check list; ``look`` pairs each act with its minutes.

    Parameters
    ----------
    ask, must_match, warranty
        Questions, things that must be equal, and what the written terms usually hold.
    look
        Act and minutes.
    good_spread_percent, reject_spread_percent
        Spread of the compression (highest less lowest, of the highest) that is good, and that is refused.
    start_before_end_days
        How long before the warranty ends the engine should have run.
    """

    ask: tuple[str, ...]
    must_match: tuple[str, ...]
    look: tuple[tuple[str, int], ...]
    warranty: tuple[str, ...]
    good_spread_percent: float
    reject_spread_percent: float
    start_before_end_days: int


@cache
def used_engine_list() -> UsedEngineList:
    """The shipped list (common practice, no source)."""
    text = shipped("driveout.parts", "data/used_engine.yaml")
    data = yaml_document(text, "used_engine.yaml", "driveout-used-engine/1").data
    return UsedEngineList(
        tuple(data["ask"]),
        tuple(data["must_match"]),
        tuple((row["what"], int(row["minutes"])) for row in data["look"]),
        tuple(data["warranty"]),
        float(data["compression"]["good_spread_percent"]),
        float(data["compression"]["reject_spread_percent"]),
        int(data["start_before_end_days"]),
    )


def engine_verdict(readings: Sequence[float]) -> tuple[float, str]:
    """Say what compression readings of a used engine mean; the unit does not matter, all must share it.

    Parameters
    ----------
    readings
        One reading per cylinder, above 0.

    Returns
    -------
    tuple
        Spread in percent of the highest, and ``take``, ``doubt`` or ``refuse``.

    Raises
    ------
    BadEntry
        If there are fewer than two readings or one is not above 0.

    References
    ----------
    common-practice, no published source; the car's own verdict under Wear names makers' limits.
    """
    if len(readings) < 2 or min(readings) <= 0:
        raise BadEntry(
            "At least two readings above 0 are needed, one per cylinder, all in the same unit.",
            field="compression",
            value=str(list(readings)),
        )
    known = used_engine_list()
    spread = 100.0 * (max(readings) - min(readings)) / max(readings)
    if spread > known.reject_spread_percent:
        return spread, "refuse"
    return spread, "take" if spread <= known.good_spread_percent else "doubt"


def first_start_by(warranty_until: date) -> date:
    """Last day on which the engine should first run, so that a claim is still possible."""
    return warranty_until - timedelta(days=used_engine_list().start_before_end_days)
