"""What the trials counted, gathered from every worker and printed as one table."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

_MARK = "trial"


def note_counts(record_property: Callable[[str, object], None]) -> Callable[..., None]:
    """Return a function that notes the counts of one trial on its test report."""

    def counted(trial: str, **counts: int | float | str) -> None:
        record_property(_MARK, [trial, {name.replace("_", " "): value for name, value in counts.items()}])

    return counted


def _rows(reports: list[Any]) -> list[tuple[str, str]]:
    rows = []
    for report in reports:
        for name, value in getattr(report, "user_properties", ()):
            if name == _MARK:
                trial, counts = value
                rows.append((trial, ", ".join(f"{key} {number}" for key, number in counts.items())))
    return sorted(rows)


def write_table(reporter: pytest.TerminalReporter, engine: str) -> None:
    """Print the counts of the trials that passed; keep them as Markdown when DRIVEOUT_TRIALS names a file."""
    rows = _rows(reporter.stats.get("passed", []))
    if not rows:
        return
    reporter.section(f"trials on {engine}")
    for trial, counts in rows:
        reporter.write_line(f"{trial}: {counts}")
    kept = os.environ.get("DRIVEOUT_TRIALS")
    if kept:
        lines = ["| trial | counted |", "|---|---|", *(f"| {trial} | {counts} |" for trial, counts in rows)]
        with Path(kept).open("a", encoding="utf-8") as file:
            file.write(f"\n## On {engine}\n\n" + "\n".join(lines) + "\n")
