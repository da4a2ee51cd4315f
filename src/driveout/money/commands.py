"""The command ``book``: check a journal file of one's own, or the record, and write it for other programs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.money.actions import import_journal, journal_of
from driveout.money.exports import beancount_text, journal_csv, ledger_text
from driveout.money.journal_file import Journal, journal_from_csv, journal_yaml, read_journal
from driveout.money.reply import journal_lines, plain_journal

FORMS = ("beancount", "hledger", "csv", "yaml")


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("book")(book)


def book(
    context: typer.Context,
    file: Annotated[
        Path | None,
        typer.Argument(help="Journal file (driveout-journal/1, or our CSV); the record when left out."),
    ] = None,
    export: Annotated[str, typer.Option(help=f"Write it as {', '.join(FORMS)}.")] = "",
    take_in: Annotated[
        bool, typer.Option("--import", help="Bring the file's entries into the record.")
    ] = False,
    currency: Annotated[str, typer.Option(help="Main currency, for a CSV and for the record.")] = "USD",
) -> Answer:
    """Check a journal and say its balances, each car's cost and profit."""
    if file is None and take_in:
        raise BadEntry("Name the file to bring in.", field="file")
    if file is not None:
        journal = _read(file, currency)
    else:
        with context.obj.reading() as tx:
            journal = journal_of(tx, currency)
    if take_in:
        with context.obj.writing() as tx:
            fresh = import_journal(tx, journal, at=context.obj.now())
        words = f"{len(fresh)} of {len(journal.entries)} entries were new and are booked now."
        return Answer({"booked": len(fresh), "entries": len(journal.entries)}, [words])
    if export:
        text = _written(journal, export)
        return Answer({"form": export, "text": text}, text.splitlines())
    data = plain_journal(journal)
    return Answer(data, journal_lines(data))


def _read(file: Path, currency: str) -> Journal:
    try:
        data = file.read_bytes()
    except OSError as error:
        raise BadEntry(
            f"{file} cannot be read: {error.strerror or error}.", field="file", value=str(file)
        ) from error
    return (
        journal_from_csv(data, file.name, currency)
        if file.suffix == ".csv"
        else read_journal(data, file.name)
    )


def _written(journal: Journal, form: str) -> str:
    if form == "beancount":
        return beancount_text(journal.entries)
    if form in ("hledger", "ledger"):
        return ledger_text(journal.entries)
    if form == "csv":
        return journal_csv(journal.entries)
    if form == "yaml":
        return journal_yaml(journal)
    raise BadEntry(f"{form!r} is not an export.", field="export", value=form, allowed=", ".join(FORMS))
