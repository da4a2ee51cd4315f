"""Values out of a document, with complaints that name the line; shared by the files of this part."""

from collections.abc import Mapping
from fractions import Fraction
from math import inf, isfinite
from typing import Any

from driveout.errors import BadEntry
from driveout.files import Document


class FileReader:
    """Looks values up by their path in a document.

    Parameters
    ----------
    document
        The file as read.
    """

    def __init__(self, document: Document) -> None:
        self.document = document

    def placed(self, bad: BadEntry) -> BadEntry:
        """The same complaint with the line of the key that its field names."""
        if bad.place:
            return bad
        path = tuple(bad.field.split("."))
        return self.document.bad(path, bad.message, value=bad.value, allowed=bad.allowed, fix=bad.fix)

    def after(self, path: tuple[Any, ...]) -> dict[str, str]:
        """Checks that must come before: a list, or each with the outcome needed."""
        found = self.at(path)
        if isinstance(found, Mapping):
            return {str(earlier): str(outcome) for earlier, outcome in found.items()}
        return dict.fromkeys(self.names(path), "")

    def at(self, path: tuple[Any, ...]) -> Any:
        """What stands at a path; None if nothing does."""
        found: Any = self.document.data
        for step in path:
            if isinstance(found, Mapping):
                found = found.get(step)
            elif isinstance(found, list) and isinstance(step, int) and step < len(found):
                found = found[step]
            else:
                return None
        return found

    def mapping(self, path: tuple[Any, ...], keys: tuple[str, ...] = ()) -> Mapping[Any, Any]:
        """The entries at a path, refused unless they are entries with known keys."""
        found = self.at(path)
        if not isinstance(found, Mapping):
            where = path[-1] if path else "the file"
            raise self.document.bad(
                path, f"{where!r} must be a list of 'name: value' lines.", value=str(found)
            )
        for key in found:
            if keys and key not in keys:
                raise self.document.bad(
                    (*path, key), f"The key {key!r} is not known here.", allowed=", ".join(keys)
                )
        return found

    def listed(self, path: tuple[Any, ...]) -> list[Any]:
        """The list at a path; empty if nothing stands there."""
        found = self.at(path)
        if found is None:
            return []
        if not isinstance(found, list):
            raise self.document.bad(path, f"{path[-1]!r} must be a list in [ ].", value=str(found))
        return found

    def names(self, path: tuple[Any, ...]) -> tuple[str, ...]:
        """The list at a path as names."""
        return tuple(str(name) for name in self.listed(path))

    def text(self, path: tuple[Any, ...], otherwise: str) -> str:
        """The text at a path, or what holds without it."""
        found = self.at(path)
        return otherwise if found is None else str(found)

    def number(self, path: tuple[Any, ...], otherwise: float | None = None) -> float:
        """A finite number, or a fraction written as text such as ``2/9``."""
        found = self.at(path)
        if found is None and otherwise is not None:
            return otherwise
        try:
            if isinstance(found, bool) or not isinstance(found, (int, float, str)):
                raise ValueError
            number = float(Fraction(found)) if isinstance(found, str) else float(found)
        except (ValueError, ZeroDivisionError, OverflowError):
            number = inf
        if not isfinite(number):
            raise self.document.bad(
                path,
                f"{found!r} is not a number.",
                value=str(found),
                allowed="a number, or a fraction such as 2/9",
            )
        return number
