"""The commands ``wear`` (own limits and readings from a file) and ``codes`` (an adapter on a serial port)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry, CannotSay
from driveout.wear import actions
from driveout.wear.adapter import NoAdapter, Told, ask, greet
from driveout.wear.report import Report
from driveout.wear.wear_file import judge_file

INSTALL = 'python -m pip install "driveout[obd]"'
# Speeds that adapters ship with, the usual ones first.
SPEEDS = (38_400, 9_600, 115_200, 500_000)


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

    @cli.command()
    def codes(
        ctx: typer.Context,
        car: int = typer.Argument(
            0, help="Number of the car that the codes are kept with; none: only shown."
        ),
        port: str = typer.Option("", help="Serial port of the adapter, for example /dev/ttyUSB0 or COM4."),
        baud: int = typer.Option(0, help="Speed of the port; tried out when left away."),
    ) -> Answer:
        """Read trouble codes, monitors and number through a plug-in adapter. It only reads and never clears."""
        told = told_by(port, (baud,) if baud else SPEEDS)
        lines = told_lines(told)
        if not car:
            return Answer(told.as_dict(), [*lines, "Shown only: name a car to keep them with."])
        with ctx.obj.writing() as tx:
            verdicts = actions.keep_told(tx, car, told, at=ctx.obj.now())
        kept = [f"{verdict.outcome.upper()}: {verdict.words}" for verdict in verdicts]
        return Answer(
            {**told.as_dict(), "verdicts": [verdict.as_dict() for verdict in verdicts]},
            [*lines, *kept, "Kept with the engine's readings. Nothing was cleared in the car."],
        )


def told_by(port: str, speeds: Sequence[int]) -> Told:
    """What the adapter on a port tells; the speeds are tried in turn.

    Parameters
    ----------
    port
        Name of the port.
    speeds
        Speeds to try.

    Returns
    -------
    Told
        Codes, monitors and number.

    Raises
    ------
    BadEntry
        If the port is not named or cannot be opened, or pyserial is missing.
    CannotSay
        If nothing answers as an adapter does, or it went away meanwhile.
    """
    try:
        import serial
        from serial.tools.list_ports import comports
    except ImportError as error:
        raise BadEntry(
            f"Reading through an adapter needs the package pyserial. Install it with: {INSTALL}",
            field="port",
            value=port,
        ) from error
    if not port:
        there = ", ".join(found.device for found in comports()) or "none found"
        raise BadEntry("Name the adapter's port with --port.", field="port", value="", allowed=there)
    trouble: NoAdapter | None = None
    for speed in speeds:
        try:
            with serial.Serial(port, speed, timeout=0.25, write_timeout=2.0, exclusive=True) as line:
                return ask(line, greet(line))
        except NoAdapter as error:
            trouble = error
        except serial.SerialException as error:
            if "could not open" in str(error).lower():
                raise BadEntry(
                    f"The port {port} cannot be opened: {error.strerror or error}. Is the adapter plugged in, paired, "
                    "and free of other programs?",
                    field="port",
                    value=port,
                ) from error
            raise _gone(port) from error
        except OSError as error:
            raise _gone(port) from error
    tried = ", ".join(str(speed) for speed in speeds)
    raise CannotSay(
        f"{trouble.message if trouble else ''} Tried {tried} baud on {port}. Is it the adapter's port?",
        missing="an adapter",
    )


def _gone(port: str) -> CannotSay:
    return CannotSay(
        f"The adapter on {port} went away in the middle. Nothing was kept; plug it in and read again.",
        missing="the adapter",
    )


def told_lines(told: Told) -> list[str]:
    """What was told, line by line for a person."""
    lines = [f"{told.adapter} on {told.protocol}."]
    lines += [f"Number: {told.vin}"] if told.vin else []
    for kind, codes in told.codes.items():
        lines.append(f"{kind.capitalize()}: " + ("none" if not codes else ""))
        lines += [f"  {code.code} {code.meaning}" + ("" if code.generic else " (maker's)") for code in codes]
    if told.lamp_on is not None:
        lines.append("Engine lamp: " + ("asked for" if told.lamp_on else "off"))
    if told.open_monitors is not None:
        lines.append(f"Monitors not complete: {told.open_monitors}")
    return [*(line.rstrip() for line in lines), *told.notes]


def answer_of(judged: Report) -> Answer:
    """Lines for a person and data for machines."""
    lines = [f"{verdict.outcome.upper()}: {verdict.words}" for _, _, verdict in judged.verdicts]
    positive = [finding for finding in judged.findings.values() if finding.positive]
    lines += [f"Finding {finding.check}: {finding.why}" for finding in positive]
    if judged.repairs:
        lines.append("Repairs to weigh: " + ", ".join(judged.repairs))
    return Answer(judged.as_dict(), lines or ["The file holds no reading."])
