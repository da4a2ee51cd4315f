"""The few kinds of thing that can go wrong, each with what was found, what was expected and what to do."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


class DriveoutError(Exception):
    """Anything driveout refuses or cannot do, in words for the person."""

    kind = "error"

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message

    def as_dict(self) -> dict[str, Any]:
        """Return the one error shape that pages, JSON answers and commands share."""
        return {"error": {"kind": self.kind, "message": self.message}}


class BadEntry(DriveoutError, ValueError):
    """Something typed or read that the person can put right.

    Parameters
    ----------
    message
        What was found, what was expected, what to do.
    field
        Name of the form field, key or column.
    value
        What was found there.
    allowed
        What would be accepted, in words.
    fix
        What to do about it, when the message does not already say so.
    place
        ``file:line key.path`` when it came from a file.
    """

    kind = "bad entry"

    def __init__(
        self,
        message: str,
        *,
        field: str = "",
        value: object = None,
        allowed: str = "",
        fix: str = "",
        place: str = "",
    ) -> None:
        super().__init__(message)
        self.field = field
        self.value = value
        self.allowed = allowed
        self.fix = fix
        self.place = place

    def __str__(self) -> str:
        parts = [f"{self.place}: {self.message}" if self.place else self.message]
        if self.allowed and self.allowed not in self.message:
            parts.append(f"Allowed: {self.allowed}.")
        if self.fix and self.fix not in self.message:
            parts.append(self.fix)
        return " ".join(parts)

    def as_dict(self) -> dict[str, Any]:
        """Return the shared error shape with field, value, allowed range, fix and place."""
        value = self.value if isinstance(self.value, (str, int, float, bool, type(None))) else str(self.value)
        return {
            "error": {
                "kind": self.kind,
                "message": self.message,
                "field": self.field,
                "value": value,
                "allowed": self.allowed,
                "fix": self.fix,
                "place": self.place,
            }
        }


class BadRows(BadEntry):
    """Several bad entries of one file, shown together instead of one at a time."""

    kind = "bad rows"

    def __init__(self, entries: Sequence[BadEntry], message: str = "") -> None:
        self.entries = tuple(entries)
        rows = len(self.entries)
        super().__init__(message or f"{rows} {'entry' if rows == 1 else 'entries'} cannot be used.")

    def __str__(self) -> str:
        return "\n".join([self.message, *(f"  {entry}" for entry in self.entries)])

    def as_dict(self) -> dict[str, Any]:
        """Return the shared error shape with one item per bad entry."""
        shape = super().as_dict()
        shape["error"]["entries"] = [entry.as_dict()["error"] for entry in self.entries]
        return shape


class CannotSay(DriveoutError):
    """There is not enough evidence to decide; names what is missing."""

    kind = "cannot say"

    def __init__(self, message: str, *, missing: str = "") -> None:
        super().__init__(message)
        self.missing = missing

    def as_dict(self) -> dict[str, Any]:
        """Return the shared error shape with the name of what is missing."""
        return {"error": {"kind": self.kind, "message": self.message, "missing": self.missing}}


class Conflict(DriveoutError):
    """Someone else, or another tab, changed it first; nothing was overwritten."""

    kind = "conflict"


class StoreTrouble(DriveoutError):
    """The record could not be read or written; what was there before still is."""

    kind = "store trouble"
