"""A history of jobs as a file: to try the model on one's own cases, to share what was learned."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import yaml

from driveout.errors import BadEntry, BadRows
from driveout.faults.sharing import counts_from_rows
from driveout.files import Document, yaml_document
from driveout.lessons.bias import HOURS, MEASURES, Job
from driveout.lessons.variance import Taught, middle
from driveout.uncertain import ThreePoint

SCHEMA = "driveout-lessons/1"
_JOB = ("measure", "kind", "estimate", "actual", "finished")
_FAULT = ("class", "fault", "finding", "counts")
_MOST_ROWS = 20_000
OTHER_WORK = "other work"
_NEXT = ("measure", "kind", "estimate")


@dataclass(frozen=True)
class Asked:
    """An estimate to be corrected by the lessons of the file."""

    kind: str
    points: ThreePoint
    measure: str


@dataclass(frozen=True)
class LessonFile:
    """A read file: comparisons, estimates to correct, and counts of faults."""

    taught: tuple[Taught, ...]
    asked: tuple[Asked, ...]
    fault_rows: tuple[dict[str, Any], ...] = ()


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
        if key not in ("schema", "jobs", "next", "faults"):
            raise document.bad((key,), f"{key!r} is not a key here.", allowed="schema, jobs, next, faults")
    found: list[Taught] = []
    asked: list[Asked] = []
    bad: list[BadEntry] = []
    fault_rows = _fault_rows(document)
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
    return LessonFile(tuple(found), tuple(asked), fault_rows)


def _fault_rows(document: Document) -> tuple[dict[str, Any], ...]:
    rows = document.data.get("faults") or []
    if not isinstance(rows, list) or len(rows) > _MOST_ROWS:
        raise document.bad(
            ("faults",), "A list of counts was expected here.", allowed=f"at most {_MOST_ROWS}"
        )
    for index, row in enumerate(rows):
        if not isinstance(row, dict) or set(row) - set(_FAULT):
            raise document.bad(("faults", index), "Keys " + ", ".join(_FAULT) + " were expected here.")
        try:
            counts_from_rows([row])
        except BadEntry as error:
            raise document.bad(
                ("faults", index), error.message, value=error.value, allowed=error.allowed
            ) from error
    return tuple(rows)


def lessons_yaml(
    history: Iterable[Taught],
    known: Collection[str] | None = None,
    faults: Sequence[Mapping[str, Any]] = (),
) -> str:
    """Write comparisons as a file to share: kinds and numbers, no cars, names, days or shops.

    Parameters
    ----------
    history
        Comparisons.
    known
        Kinds that may be named; a kind in the person's own words, which may name a car or a
        person, becomes ``other work``. None names all.
    faults
        Counts of faults to go with them.

    Returns
    -------
    str
        A ``driveout-lessons/1`` file.
    """
    jobs = jobs_as_rows(history)
    for job in jobs:
        if known is not None and job["kind"] not in known:
            job["kind"] = OTHER_WORK
    whole = {"schema": SCHEMA, "jobs": jobs, **({"faults": [dict(row) for row in faults]} if faults else {})}
    return yaml.safe_dump(whole, sort_keys=False, allow_unicode=True)


def taught_from_rows(rows: Iterable[Mapping[str, Any]]) -> tuple[Taught, ...]:
    """Comparisons from rows that were read and kept before."""
    return tuple(
        Taught(
            Job(
                str(row["kind"]),
                middle(points),
                float(row["actual"]),
                row.get("finished", True),
                row["measure"],
            ),
            points,
        )
        for row in rows
        if (points := ThreePoint(*(float(value) for value in row["estimate"])))
    )


def jobs_as_rows(history: Iterable[Taught]) -> list[dict[str, Any]]:
    """Comparisons as plain rows."""
    return [
        {
            "measure": t.job.measure,
            "kind": t.job.kind,
            "estimate": [round(scale * value, 4) for value in (t.points.low, t.points.likely, t.points.high)],
            "actual": round(t.job.actual, 4),
            **({} if t.job.finished else {"finished": False}),
        }
        for t in history
        # What lessons had moved before is taken out: the file holds what was said, as others say it.
        if (scale := t.job.estimate / middle(t.points) if middle(t.points) > 0 else 1.0)
    ]


def as_text(document: dict[str, Any]) -> str:
    """Write a document that came as JSON so that messages can name its lines."""
    return json.dumps(document, indent=1, ensure_ascii=False)
