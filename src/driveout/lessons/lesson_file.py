"""A history of jobs as a file: to try the model on one's own cases, to share what was learned."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import yaml

from driveout.errors import BadEntry, BadRows
from driveout.files import Document, yaml_document
from driveout.lessons.bias import HOURS, MEASURES, Job
from driveout.lessons.variance import Taught, middle
from driveout.uncertain import ThreePoint

SCHEMA = "driveout-lessons/1"
_JOB = ("measure", "kind", "estimate", "actual", "finished")
_NEXT = ("measure", "kind", "estimate")


@dataclass(frozen=True)
class Asked:
    """An estimate to be corrected by the lessons of the file."""

    kind: str
    points: ThreePoint
    measure: str


@dataclass(frozen=True)
class LessonFile:
    """A read file: comparisons, and estimates to correct."""

    taught: tuple[Taught, ...]
    asked: tuple[Asked, ...]


def _row(document: Document, path: tuple[Any, ...], data: object, keys: tuple[str, ...]) -> dict[str, Any]:
    if not isinstance(data, dict):
        raise document.bad(path, f"Keys {', '.join(keys)} were expected here.", value=str(data)[:60])
    for key in data:
        if key not in keys:
            raise document.bad(
                (*path, key), f"{key!r} is not a key here.", value=str(key), allowed=", ".join(keys)
            )
    for key in ("kind", "estimate"):
        if key not in data:
            raise document.bad(path, f"The key {key!r} is missing.", allowed=", ".join(keys))
    measure = data.get("measure", HOURS)
    if measure not in MEASURES:
        raise document.bad(
            (*path, "measure"),
            f"{measure!r} is not a measure.",
            value=str(measure),
            allowed=", ".join(MEASURES),
        )
    return data


def _points(document: Document, path: tuple[Any, ...], value: object) -> ThreePoint:
    try:
        return ThreePoint.of(value, "estimate", least=0)
    except BadEntry as error:
        raise document.bad(
            (*path, "estimate"), error.message, value=error.value, allowed=error.allowed
        ) from error


def _taught(document: Document, path: tuple[Any, ...], data: object) -> Taught:
    row = _row(document, path, data, _JOB)
    points = _points(document, path, row["estimate"])
    actual, finished = row.get("actual"), row.get("finished", True)
    if not isinstance(actual, (int, float)) or isinstance(actual, bool):
        raise document.bad(
            (*path, "actual"), f"The actual is {actual!r}; a number above 0 was expected.", value=str(actual)
        )
    if not isinstance(finished, bool):
        raise document.bad((*path, "finished"), "finished is true or false.", value=str(finished))
    try:
        job = Job(str(row["kind"]), middle(points), float(actual), finished, row.get("measure", HOURS))
    except BadEntry as error:
        key = error.field if error.field in row else "kind"
        raise document.bad((*path, key), error.message, value=error.value, allowed=error.allowed) from error
    return Taught(job, points)


def read_lessons(text: str | bytes, name: str) -> LessonFile:
    """Read a lessons file.

    Parameters
    ----------
    text
        YAML or JSON of schema ``driveout-lessons/1``.
    name
        File name for messages.

    Returns
    -------
    LessonFile
        Comparisons and questions.

    Raises
    ------
    BadRows
        All rows that cannot be used, each with file, line and key.
    """
    document = yaml_document(text, name, SCHEMA)
    for key in document.data:
        if key not in ("schema", "jobs", "next"):
            raise document.bad((key,), f"{key!r} is not a key here.", allowed="schema, jobs, next")
    found: list[Taught] = []
    asked: list[Asked] = []
    bad: list[BadEntry] = []
    for part in ("jobs", "next"):
        rows = document.data.get(part) or []
        if not isinstance(rows, list):
            raise document.bad((part,), "A list was expected here: each item begins with '- '.")
        for index, data in enumerate(rows):
            path = (part, index)
            try:
                if part == "jobs":
                    found.append(_taught(document, path, data))
                else:
                    row = _row(document, path, data, _NEXT)
                    points = _points(document, path, row["estimate"])
                    asked.append(Asked(str(row["kind"]), points, row.get("measure", HOURS)))
            except BadEntry as error:
                bad.append(error)
    if bad:
        raise BadRows(bad, f"{len(bad)} row(s) of {name} cannot be used.")
    return LessonFile(tuple(found), tuple(asked))


def lessons_yaml(history: Iterable[Taught]) -> str:
    """Write comparisons as a file to share: kinds and numbers, no cars, names, days or shops."""
    jobs = [
        {
            "measure": t.job.measure,
            "kind": t.job.kind,
            "estimate": [round(value, 4) for value in (t.points.low, t.points.likely, t.points.high)],
            "actual": round(t.job.actual, 4),
            **({} if t.job.finished else {"finished": False}),
        }
        for t in history
    ]
    return yaml.safe_dump({"schema": SCHEMA, "jobs": jobs}, sort_keys=False, allow_unicode=True)


def as_text(document: dict[str, Any]) -> str:
    """Write a document that came as JSON so that messages can name its lines."""
    return json.dumps(document, indent=1, ensure_ascii=False)
