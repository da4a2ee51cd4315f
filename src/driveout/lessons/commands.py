"""The command ``lessons``: bias per kind of work and calibration, from the record or from one's own file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.lessons.actions import own_knowledge, taught_history
from driveout.lessons.actions import take_in as take_in_file
from driveout.lessons.lesson_file import Asked, lessons_yaml, read_lessons
from driveout.lessons.reply import lines, plain, what_was_learned


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("lessons")(lessons)


def lessons(
    context: typer.Context,
    file: Annotated[
        Path | None, typer.Option("--file", help="Own history (driveout-lessons/1) instead of the record.")
    ] = None,
    export: Annotated[bool, typer.Option("--export", help="Write the history as a file to share.")] = False,
    take_in: Annotated[
        Path | None, typer.Option("--take-in", help="Take in a colleague's file (driveout-lessons/1).")
    ] = None,
    weight: Annotated[
        float, typer.Option("--weight", help="With --take-in: what one of theirs counts, above 0, below 1.")
    ] = 0.3,
) -> Answer:
    """Say how far estimates of each kind run over, and whether ranges hold what they promise."""
    asked: tuple[Asked, ...] = ()
    if file is not None:
        read = read_lessons(_bytes(file), file.name)
        history, asked = read.taught, read.asked
    else:
        if take_in is not None:
            return _taken_in(context, take_in, weight)
        with context.obj.reading() as tx:
            history = taught_history(tx)
            shared = own_knowledge(tx) if export else ""
    if export:
        text_out = lessons_yaml(history) if file is not None else shared
        return Answer({"schema": "driveout-lessons/1", "text": text_out}, text_out.splitlines())
    data = plain(what_was_learned(history), history, asked)
    return Answer(data, lines(data))


def _bytes(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise BadEntry(
            f"{file} cannot be read: {error.strerror or error}.", field="file", value=str(file)
        ) from error


def _taken_in(context: typer.Context, file: Path, weight: float) -> Answer:
    text = _bytes(file)
    with context.obj.writing() as tx:
        kept = take_in_file(tx, text, file.name, weight, at=context.obj.now())
    said = f"Took in {len(kept.jobs)} jobs and {kept.fault_rows} counts of faults from {kept.name}."
    return Answer(
        {"file": kept.id, "jobs": len(kept.jobs), "fault_rows": kept.fault_rows, "weight": kept.weight},
        [said, "Set it aside on the page Lessons at any time."],
    )
