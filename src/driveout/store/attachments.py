"""Photos and receipts kept by the hash of their content, on disk before anything refers to them."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path

from driveout.errors import BadEntry, StoreTrouble

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
        if path.exists():
            return digest
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".part-", delete=False) as part:
                part.write(data)
                part.flush()
                os.fsync(part.fileno())
            Path(part.name).replace(path)
            folder = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
        except OSError as error:
            raise StoreTrouble(
                f"The file could not be kept: {error.strerror}. Nothing refers to it yet."
            ) from error
        return digest

    def get(self, digest: str) -> bytes:
        """Read one file and prove that it is what its name says."""
        path = self._path(digest)
        if not path.exists():
            raise StoreTrouble(f"The attachment {digest[:12]} is missing from {self.root}.")
        data = path.read_bytes()
        if hashlib.sha256(data).hexdigest() != digest:
            raise StoreTrouble(
                f"The attachment {digest[:12]} is damaged; its content no longer matches its name."
            )
        return data

    def names(self) -> Iterator[str]:
        """All hashes kept, in order."""
        if self.root.exists():
            yield from sorted(path.name for path in self.root.glob("??/*") if _NAME.match(path.name))
