"""What can be wrong with an installation itself: the Python, the packages, the folder, the disk, the clock."""

from __future__ import annotations

import importlib.util
import shutil
import sys
import tempfile
import tomllib
from datetime import datetime
from pathlib import Path

from driveout.errors import DriveoutError
from driveout.files import yaml_document

OLDEST_PYTHON = (3, 11)
LEAST_FREE = 200_000_000
"""Bytes that must be free. Own choice: a daily copy, its archive and a day's photos."""
NEEDED = (
    *("numpy", "scipy", "ortools", "sqlalchemy", "alembic", "psycopg", "fastapi", "uvicorn", "jinja2"),
    *("multipart", "typer", "yaml", "rapidfuzz", "segno", "typst"),
)


def python_troubles(version: tuple[int, ...] = tuple(sys.version_info[:3])) -> list[str]:
    """What is wrong with the Python and its packages."""
    troubles = []
    if version < OLDEST_PYTHON:
        wanted = ".".join(map(str, OLDEST_PYTHON))
        troubles.append(f"Python {'.'.join(map(str, version))} is too old; {wanted} or newer is needed.")
    troubles += [
        f"The package {name} is missing; install driveout again."
        for name in NEEDED
        if importlib.util.find_spec(name) is None
    ]
    return troubles


def folder_troubles(home: Path, least_free: int = LEAST_FREE) -> list[str]:
    """What is wrong with the record's folder and its disk.

    Parameters
    ----------
    home
        The folder.
    least_free
        Bytes that must be free.

    Returns
    -------
    list of str
        Sentences; empty when all is well.
    """
    troubles = []
    there = home if home.exists() else next((one for one in home.parents if one.exists()), Path("/"))
    try:
        with tempfile.NamedTemporaryFile(dir=there, prefix=".trial-") as trial:
            trial.write(b"x" * 4096)
            trial.flush()
    except OSError as error:
        troubles.append(
            f"The folder {there} cannot be written: {error.strerror}. Choose another with --home."
        )
    try:
        free = shutil.disk_usage(there).free
    except OSError as error:
        troubles.append(f"The disk of {there} cannot be asked how full it is: {error.strerror}.")
    else:
        if free < least_free:
            troubles.append(
                f"Only {free / 1e6:.0f} MB are free where {there} is; {least_free / 1e6:.0f} MB are needed. "
                "Make room before you book anything."
            )
    secret = home / "secret"
    if secret.exists() and secret.stat().st_mode & 0o077:
        troubles.append(f"{secret} can be read by others on this machine. Run: chmod 600 {secret}")
    return troubles


def file_troubles(package: Path) -> list[str]:
    """Shipped files that are missing or torn: knowledge, templates, the looks of the pages.

    Parameters
    ----------
    package
        Folder of the installed package.

    Returns
    -------
    list of str
        Sentences; empty when all is well.
    """
    troubles = []
    for name in ("web/static/driveout.css", "web/static/sw.js", "web/templates/page.html"):
        if not (package / name).is_file():
            troubles.append(f"The shipped file {name} is missing; install driveout again.")
    for path in sorted((*package.glob("*/data/**/*.yaml"), *package.glob("*/data/**/*.toml"))):
        try:
            if path.suffix == ".toml":
                tomllib.loads(path.read_text("utf-8"))
            else:
                yaml_document(path.read_bytes(), path.name, None)
        except (DriveoutError, ValueError, OSError) as error:
            troubles.append(
                f"The knowledge file {path.relative_to(package)} is torn: {error}. Install driveout again."
            )
    return troubles


def clock_troubles(now: datetime, newest: datetime | None) -> list[str]:
    """Whether the clock stands before what is recorded already."""
    if newest is None or now >= newest:
        return []
    return [
        f"The clock says {now:%Y-%m-%d %H:%M} UTC, before the last event of {newest:%Y-%m-%d %H:%M} UTC. Set the clock."
    ]
