"""Photos and receipts kept by the hash of their content, on disk before anything refers to them."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path

import sqlalchemy as sa

from driveout.errors import BadEntry, StoreTrouble
from driveout.store.written import Tx, metadata

_NAME = re.compile(r"^[0-9a-f]{64}$")


class Attachments:
    """A folder of files named by their SHA-256.

    Parameters
    ----------
    root
        The folder; made when first written to.
    """

    def __init__(self, root: Path) -> None:
        self.root = root

    def _path(self, digest: str) -> Path:
        if not _NAME.match(digest):
            raise BadEntry(
                f"{digest[:80]!r} is not the name of an attachment.", field="attachment", value=digest[:80]
            )
        return self.root / digest[:2] / digest

    def put(self, data: bytes) -> str:
        """Write the content and return its hash; safe to repeat and safe to be killed at any point."""
        digest = hashlib.sha256(data).hexdigest()
        path = self._path(digest)
        try:
            # A file that a failing disk damaged is written anew, not trusted for its name.
            if path.exists() and path.read_bytes() == data:
                return digest
            path.parent.mkdir(parents=True, exist_ok=True)
            _settle(self.root)
            _write_whole(path, data)
            _settle(path.parent)
        except OSError as error:
            raise StoreTrouble(
                f"The file could not be kept: {error.strerror}. Nothing refers to it yet. "
                f"Free some space for {self.root} or make it writable, then send it again."
            ) from error
        return digest

    def get(self, digest: str) -> bytes:
        """Read one file and prove that it is what its name says."""
        path = self._path(digest)
        if not path.exists():
            raise StoreTrouble(f"The attachment {digest[:12]} is missing from {self.root}.")
        try:
            data = path.read_bytes()
        except OSError as error:
            raise StoreTrouble(
                f"The attachment {digest[:12]} cannot be read from {self.root}: {error.strerror}."
            ) from error
        if hashlib.sha256(data).hexdigest() != digest:
            raise StoreTrouble(
                f"The attachment {digest[:12]} is damaged; its content no longer matches its name."
            )
        return data

    def names(self) -> Iterator[str]:
        """All hashes kept, in order."""
        if self.root.exists():
            yield from sorted(path.name for path in self.root.glob("??/*") if _NAME.match(path.name))


def _write_whole(path: Path, data: bytes) -> None:
    """Put the content on the disk under another name first, so that the right name never holds half of it."""
    part = ""
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".part-", delete=False) as file:
            part = file.name
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(part).replace(path)
    except OSError:
        if part:
            Path(part).unlink(missing_ok=True)
        raise


def _settle(folder: Path) -> None:
    """Make the names in a folder survive a loss of power."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


# Keys under which the parts keep the hash of a photo in their JSON columns.
_REFERRING = frozenset({"photo", "digest"})


def references(tx: Tx) -> dict[str, str]:
    """Attachments that the record refers to, each with the first place that does."""
    found: dict[str, str] = {}
    for table in metadata.sorted_tables:
        columns = [column for column in table.columns if isinstance(column.type, sa.JSON)]
        if not columns or not tx.dialect.has_table(tx, table.name):
            continue
        key = next(iter(table.primary_key.columns))
        for row in tx.execute(sa.select(key, *columns).order_by(key)):
            for value in row[1:]:
                for digest in _digests(value):
                    found.setdefault(digest, f"{table.name} {row[0]}")
    return found


def _digests(value: object) -> Iterator[str]:
    if isinstance(value, dict):
        for key, inner in value.items():
            if key in _REFERRING and isinstance(inner, str) and _NAME.match(inner):
                yield inner
            yield from _digests(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _digests(inner)


def strays(tx: Tx, home: Path) -> tuple[dict[str, str], list[str]]:
    """What a loss of power can leave between photos and record.

    Parameters
    ----------
    tx
        Open transaction.
    home
        Folder of the record.

    Returns
    -------
    tuple
        Referred to but not there, with the place that refers (never by a loss of power: a photo is
        on the disk before anything refers to it); there but not referred to (harmless).
    """
    kept = set(Attachments(home / "attachments").names())
    referred = references(tx)
    missing = {digest: place for digest, place in referred.items() if digest not in kept}
    return missing, sorted(kept - referred.keys())
