"""Commands: what is probably wrong, from the person's own network file or from the shipped pack."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.faults.network_file import read_findings, read_network
from driveout.faults.pack import knowledge
from driveout.faults.posterior import Posterior, infer
from driveout.faults.reply import plain_answer
from driveout.faults.shipped import shipped_network, with_silence


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("causes")(causes)
    cli.command("pack")(pack)


def causes(
    evidence: Annotated[
        Path | None, typer.Option(help="File with 'finding: outcome' lines (YAML or JSON).")
    ] = None,
    network: Annotated[
        Path | None, typer.Option(help="Own network (driveout-network/1); the shipped pack when left out.")
    ] = None,
    runs: Annotated[
        str, typer.Option(help="Class of advert for the shipped pack: runner, sick or dead.")
    ] = "runner",
    own_pack: Annotated[
        Path | None, typer.Option(help="Own pack (driveout-pack/1) laid over the shipped one.")
    ] = None,
    silence: Annotated[
        bool, typer.Option(help="Take what the advert does not mention as weak evidence.")
    ] = False,
) -> Answer:
    """Say what is probably wrong, and what speaks for it."""
    if network is not None:
        model = read_network(_bytes(network), network.name)
    else:
        if own_pack is not None:
            knowledge(_bytes(own_pack), own_pack.name)
        model = shipped_network(runs, _bytes(own_pack) if own_pack else None)
    found = read_findings(_bytes(evidence), evidence.name) if evidence else {}
    answer = infer(model, with_silence(model, found) if silence else found)
    return Answer(plain_answer(answer), _lines(answer))


def pack(
    own_pack: Annotated[Path | None, typer.Argument(help="Own pack file to try (driveout-pack/1).")] = None,
) -> Answer:
    """Check the knowledge pack, or the person's own file laid over it."""
    held = knowledge(_bytes(own_pack), own_pack.name) if own_pack else knowledge()
    counts: dict[str, Any] = {
        "faults": len(held.faults),
        "findings": len(held.signs),
        "checks": len(held.checks),
        "competing": len(held.competing),
    }
    return Answer(
        counts,
        [
            f"{counts['faults']} faults, {counts['findings']} findings, {counts['checks']} checks hold together."
        ],
    )


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise BadEntry(
            f"{path} cannot be read: {error.strerror or error}.", field="file", value=str(path)
        ) from error


def _lines(answer: Posterior) -> list[str]:
    speaks = answer.speaks()
    names = {
        cause.fault_of(state): state.name or cause.name
        for cause in answer.network.causes
        for state in cause.states
    }
    rows = sorted(answer.faults.items(), key=lambda row: -row[1])[:20]
    lines = [f"Probability of this evidence: {answer.evidence_probability:.3g}"]
    for fault, chance in rows:
        lines.append(f"{100 * chance:5.1f} %  {names[fault]}")
        lines += [
            f"           {'for' if s.log_odds > 0 else 'against'}: {s.finding} = {s.outcome} ({s.log_odds:+.2f})"
            for s in speaks[fault][:3]
            if abs(s.log_odds) >= 0.05
        ]
    return lines
