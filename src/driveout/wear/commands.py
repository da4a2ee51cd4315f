"""The command ``wear``: one's own limits and readings from a file, no record needed."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.wear.report import Report
from driveout.wear.wear_file import judge_file


def register(cli: typer.Typer) -> None:
    """Add the command."""

    @cli.command()
    def wear(
        file: Path = typer.Argument(..., help="YAML or JSON with schema driveout-limits/1."),
        on: str = typer.Option("", help="Day to judge at, YYYY-MM-DD (default: the file's, else today)."),
    ) -> Answer:
        """Judge readings of brakes, tyres, paint, engine, battery and fluids from a file."""
        try:
            day = (
                datetime.strptime(on, "%Y-%m-%d").replace(tzinfo=UTC).date()
                if on
                else datetime.now(UTC).date()
            )
        except ValueError as error:
            raise BadEntry(f"{on!r} is no day.", field="on", value=on, allowed="YYYY-MM-DD") from error
        return answer_of(judge_file(file.read_bytes(), file.name, day))


def answer_of(judged: Report) -> Answer:
    """Lines for a person and data for machines."""
    lines = [f"{verdict.outcome.upper()}: {verdict.words}" for _, _, verdict in judged.verdicts]
    positive = [finding for finding in judged.findings.values() if finding.positive]
    lines += [f"Finding {finding.check}: {finding.why}" for finding in positive]
    if judged.repairs:
        lines.append("Repairs to weigh: " + ", ".join(judged.repairs))
    return Answer(judged.as_dict(), lines or ["The file holds no reading."])
