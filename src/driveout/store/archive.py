"""One-file archive: a zip of JSON lines and attachments that moves house between machines and engines."""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import json
import os
import zipfile
import zlib
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from driveout.errors import BadEntry, DriveoutError, StoreTrouble
from driveout.store.attachments import Attachments
from driveout.store.engine import Store
from driveout.store.schema import known_revisions, revision_of, upgrade
from driveout.store.written import NAME, Tx

SCHEMA = "driveout-archive/1"
LARGEST_MEMBER = 2_000_000_000
LARGEST_ATTACHMENT = 200_000_000
LARGEST_LINE = 50_000_000
# Rows of a real record shrink to a tenth; deflate cannot do more than about a thousand.
LARGEST_RATIO = 300
_KINDS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_TORN = (
    *(zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, NotImplementedError),
    *(KeyError, TypeError, AttributeError, ValueError),
)


def write_archive(store: Store, path: Path, photos: bool = True) -> dict[str, Any]:
    """Write everything into one zip while others may go on working.

    All tables are read in one transaction, so the archive is one consistent state; every
    member's SHA-256 stands in ``manifest.json``.

    Parameters
    ----------
    store
        The record.
    path
        File to write; an existing one is replaced only when the new one is whole.
    photos
        Whether the attachments go in; if not, the manifest names those that stay beside it.

    Returns
    -------
    dict
        The manifest.

    Raises
    ------
    StoreTrouble
        If it could not be written; what was there before still is.
    """
    part = path.with_name(f".{path.name}.part")
    tables: dict[str, dict[str, Any]] = {}
    manifest: dict[str, Any] = {
        "schema": SCHEMA,
        "revision": revision_of(store),
        "tables": tables,
        "attachments": 0,
        "beside": [],
    }
    attachments = Attachments(store.home / "attachments")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with (
            zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive,
            store.reading() as tx,
        ):
            for table in _tables(tx):
                digest, count = hashlib.sha256(), 0
                with archive.open(f"tables/{table.name}.jsonl", "w") as member:
                    for row in tx.execute(sa.select(table).order_by(*table.primary_key.columns)).mappings():
                        line = (
                            json.dumps(
                                dict(row), ensure_ascii=False, sort_keys=True, default=_day_text
                            ).encode()
                            + b"\n"
                        )
                        digest.update(line)
                        member.write(line)
                        count += 1
                tables[table.name] = {"rows": count, "sha256": digest.hexdigest()}
            if not photos:
                manifest["beside"] = list(attachments.names())
            for name in attachments.names() if photos else ():
                archive.writestr(f"attachments/{name}", attachments.get(name), zipfile.ZIP_STORED)
                manifest["attachments"] += 1
            archive.writestr("manifest.json", json.dumps(manifest, indent=1, sort_keys=True))
        with part.open("rb") as whole:
            os.fsync(whole.fileno())
        part.replace(path)
    except OSError as error:
        raise StoreTrouble(
            f"The archive could not be written: {error.strerror}. The record is untouched. "
            f"Free some space for {path.parent} or choose another place."
        ) from error
    finally:
        # Gone already when all went well; otherwise half an archive, or one that a damaged photo stopped.
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return manifest


def restore(path: Path, store: Store) -> dict[str, Any]:
    """Fill an empty record from an archive and prove each table by its checksum.

    Parameters
    ----------
    path
        An archive that `write_archive` made.
    store
        An empty record, on either engine.

    Returns
    -------
    dict
        The archive's manifest; ``missing`` lists the photos it names that are not in the home folder.

    Raises
    ------
    BadEntry
        If the file is not an archive, is damaged, or is suspiciously large.
    StoreTrouble
        If the record is not empty. Nothing is written in either case.
    """
    if revision_of(store) is not None:
        with store.reading() as tx:
            if any(
                tx.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first()
                for table in _tables(tx)
            ):
                raise StoreTrouble("The record is not empty. Restore into a new place, then look at both.")
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = _manifest(archive, path)
            _prove(archive, manifest, path)
            upgrade(store, manifest["revision"])
            _fill(archive, manifest, store)
    except DriveoutError:
        raise
    except OSError as error:
        raise StoreTrouble(f"The archive could not be read: {error.strerror}.") from error
    except _TORN as error:
        raise BadEntry(f"{path.name} is not a whole driveout archive: {error}.", place=path.name) from error
    upgrade(store)
    kept = set(Attachments(store.home / "attachments").names())
    return {**manifest, "missing": [name for name in manifest.get("beside", []) if name not in kept]}


def _tables(tx: Tx) -> list[sa.Table]:
    """Tables that hold something of the person's, parents before children."""
    present = sa.MetaData()
    present.reflect(tx)
    return [table for table in present.sorted_tables if table.name not in ("alembic_version", NAME)]


def _manifest(archive: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    if archive.getinfo("manifest.json").file_size > LARGEST_LINE:
        raise BadEntry(f"The manifest of {path.name} is absurdly large; refused.", place=path.name)
    manifest: dict[str, Any] = json.loads(archive.read("manifest.json"))
    if manifest.get("schema") != SCHEMA:
        raise BadEntry(
            f"{path.name} says schema {manifest.get('schema')!r}; {SCHEMA!r} is needed.", place=path.name
        )
    if manifest["revision"] not in known_revisions():
        raise BadEntry(
            f"{path.name} comes from a driveout with schema {str(manifest['revision'])[:40]!r}, "
            "which this one does not know. Use the newer version.",
            place=path.name,
        )
    return manifest


def _prove(archive: zipfile.ZipFile, manifest: dict[str, Any], path: Path) -> None:
    """Refuse tricks and damage before anything is written."""
    members = archive.infolist()
    expected = {"manifest.json", *(f"tables/{name}.jsonl" for name in manifest["tables"])}
    photos = [member for member in members if member.filename.startswith("attachments/")]
    names = [member.filename for member in members]
    strange = sorted(set(names) - expected - {photo.filename for photo in photos})
    if strange or len(set(names)) != len(names):
        which = strange[0] if strange else next(name for name in names if names.count(name) > 1)
        raise BadEntry(f"{which[:80]!r} has no place in {path.name}, or stands in it twice.", place=path.name)
    for member in members:
        _refuse_absurd(member, path)
    if sum(member.compress_size for member in members) > path.stat().st_size:
        raise BadEntry(f"The members of {path.name} overlap; refused.", place=path.name)
    for name, facts in manifest["tables"].items():
        digest, rows = hashlib.sha256(), 0
        for line in _lines(archive, name):
            digest.update(line)
            rows += 1
        if digest.hexdigest() != facts["sha256"] or rows != facts["rows"]:
            raise BadEntry(
                f"The table {name} in {path.name} is damaged: its checksum differs.", place=path.name
            )
    for photo in photos:
        with archive.open(photo) as content:
            if photo.filename != f"attachments/{hashlib.file_digest(content, 'sha256').hexdigest()}":  # type: ignore[arg-type]
                raise BadEntry(f"The attachment {photo.filename!r} does not match its name.", place=path.name)
    if len(photos) != manifest["attachments"]:
        raise BadEntry("The archive lacks attachments that its manifest counts.", place="manifest.json")


def _refuse_absurd(member: zipfile.ZipInfo, path: Path) -> None:
    largest = LARGEST_ATTACHMENT if member.filename.startswith("attachments/") else LARGEST_MEMBER
    absurd = member.file_size > largest or member.file_size > LARGEST_RATIO * max(member.compress_size, 1000)
    if absurd or member.compress_type not in _KINDS:
        raise BadEntry(
            f"{member.filename[:80]!r} in {path.name} unpacks to an absurd size or in a way that driveout "
            "never writes; refused.",
            place=path.name,
        )


def _lines(archive: zipfile.ZipFile, table: str) -> Iterator[bytes]:
    with archive.open(f"tables/{table}.jsonl") as member:
        while line := member.readline(LARGEST_LINE):
            yield line


def _fill(archive: zipfile.ZipFile, manifest: dict[str, Any], store: Store) -> None:
    attachments = Attachments(store.home / "attachments")
    for name in archive.namelist():
        if name.startswith("attachments/"):
            attachments.put(archive.read(name))
    with store.writing() as tx:
        tables = _tables(tx)
        strange = sorted(set(manifest["tables"]) - {table.name for table in tables})
        if strange:
            raise BadEntry(f"The archive holds a table {strange[0][:80]!r} that its schema does not have.")
        for table in tables:
            if table.name not in manifest["tables"]:
                continue
            days = [column.name for column in table.columns if isinstance(column.type, sa.Date)]
            lines = _lines(archive, table.name)
            while part := list(itertools.islice(lines, 500)):
                tx.execute(sa.insert(table), [_with_days(json.loads(line), days) for line in part])
            _continue_numbering(tx, table)


def _day_text(value: object) -> str:
    """Days are written as ISO text; anything else that JSON does not know is not kept by any table."""
    if type(value) is date:
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no place in an archive")


def _with_days(row: dict[str, Any], days: list[str]) -> dict[str, Any]:
    return {**row, **{name: date.fromisoformat(row[name]) for name in days if row[name] is not None}}


def _continue_numbering(tx: Tx, table: sa.Table) -> None:
    """PostgreSQL numbers from its own sequence; move it past the restored rows."""
    if tx.dialect.name != "postgresql" or "id" not in table.columns:
        return
    sequence = tx.scalar(sa.select(sa.func.pg_get_serial_sequence(table.name, "id")))
    if sequence:
        highest = tx.scalar(sa.select(sa.func.max(table.c.id)))
        if highest is not None:
            tx.execute(sa.select(sa.func.setval(sequence, highest)))
