"""The command ``lessons``: bias per kind of work and calibration, from the record or from one's own file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.lessons.actions import taught_history
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
) -> Answer:
    """Say how far estimates of each kind run over, and whether ranges hold what they promise."""
    asked: tuple[Asked, ...] = ()
    if file is not None:
        try:
            text = file.read_bytes()
        except OSError as error:
            raise BadEntry(
                f"{file} cannot be read: {error.strerror or error}.", field="file", value=str(file)
            ) from error
        read = read_lessons(text, file.name)
        history, asked = read.taught, read.asked
    else:
        with context.obj.reading() as tx:
            history = taught_history(tx)
    if export:
        text_out = lessons_yaml(history)
        return Answer({"schema": "driveout-lessons/1", "text": text_out}, text_out.splitlines())
    data = plain(what_was_learned(history), history, asked)
    return Answer(data, lines(data))
