"""What a command gives back: data for machines and lines for a person."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Answer:
    """Result of a command; the application prints the lines, or the data as JSON with ``--json``."""

    data: dict[str, Any]
    lines: list[str] = field(default_factory=list)
