"""Commands: plan a strip and refit, print its cards, check a tightening value, list the assemblies."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.workshop import actions
from driveout.workshop.assembly import Assembly
from driveout.workshop.assembly_file import SHIPPED, read_assembly, shipped_assembly
from driveout.workshop.cards import CardSet, cards_pdf, job_cards, paper_named
from driveout.workshop.labels import BagLabel, bag_labels, labels_pdf
from driveout.workshop.practice import caution
from driveout.workshop.strip import StripPlan, strip
from driveout.workshop.torque_answer import torque_answer


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("strip")(strip_command)
    cli.command("torque")(torque)
    cli.command("cards")(cards)


def strip_command(
    assembly: Annotated[
        str, typer.Argument(help="A file (driveout-assembly/1), or the name of a shipped assembly.")
    ] = "",
    target: Annotated[list[str] | None, typer.Option(help="What to get at; repeat it for several.")] = None,
    variant: Annotated[list[str] | None, typer.Option(help="How this car is built; may be repeated.")] = None,
) -> Answer:
    """Plan the least-effort way in, and the same way back; without arguments list the assemblies."""
    if not assembly:
        return _list()
    plan = strip(_assembly(assembly), target or [], variants=variant or [])
    return Answer(plan.as_dict(), _lines(plan))


def _assembly(name: str) -> Assembly:
    """A shipped assembly by name, or the person's own file."""
    path = Path(name)
    if name not in SHIPPED and (path.suffix or path.exists()):
        return read_assembly(_bytes(path), path.name, strict=False)
    return shipped_assembly(name)


def _list() -> Answer:
    rows: dict[str, Any] = {}
    lines = []
    for name in SHIPPED:
        held = shipped_assembly(name)
        rows[name] = {"name": held.name, "targets": list(held.targets), "variants": list(held.variants)}
        lines.append(f"{name}: {held.name} (targets: {', '.join(held.targets)})")
    return Answer({"assemblies": rows}, lines)


def _lines(plan: StripPlan) -> list[str]:
    lines = [f"{plan.assembly.name}: {', '.join(plan.targets)}"]
    lines += [f"CAUTION {c.title}: {c.text}" for c in map(caution, plan.assembly.cautions)]
    phase = ""
    for number, task in enumerate(plan.tasks, start=1):
        if task.phase != phase:
            phase = task.phase
            lines += ["", phase.upper()]
        bag = f"  [bag {task.bag}]" if task.bag else ""
        lines.append(f"{number:3d}. {task.text}{bag}" + (f"  {task.minutes:.0f} min" if task.minutes else ""))
        if task.phase == "strip" and task.reason:
            lines.append(f"       {task.reason}")
    lines += ["", f"Worked time {plan.minutes / 60:.1f} h"]
    if len(plan.targets) > 1:
        lines.append(f"Together they save {plan.saving_minutes / 60:.1f} h against one after the other.")
    lines += ["", "NEW"] + [f"{r.count:g} {r.unit} {r.what}" for r in plan.renewals]
    return lines


def torque(
    value: Annotated[str, typer.Argument(help="Value and unit, for example '103 N·m'.")],
    origin: Annotated[str, typer.Option(help="recalled, copied, measured or confirmed.")] = "recalled",
    other: Annotated[str, typer.Option(help="The same value in the other unit.")] = "",
    document: Annotated[str, typer.Option(help="Document it was copied from.")] = "",
    page: Annotated[str, typer.Option(help="Page in it.")] = "",
    second_look: Annotated[str, typer.Option(help="The value as read a second time.")] = "",
    size: Annotated[str, typer.Option(help="Thread, for example M12x1.5.")] = "",
    property_class: Annotated[str, typer.Option(help="8.8, 10.9 or 12.9.")] = "",
    special: Annotated[str, typer.Option(help="plug, hollow bolt, soft thread or past yield.")] = "",
    angle: Annotated[float, typer.Option(help="Further turn in degrees.")] = 0.0,
    stages: Annotated[str, typer.Option(help="Stages in percent, for example '30 60 100'.")] = "100",
    bolts: Annotated[int, typer.Option(help="Fasteners round a circle.")] = 0,
    head_columns: Annotated[int, typer.Option(help="Columns of a head with two rows.")] = 0,
    lever_mm: Annotated[float, typer.Option(help="Square drive to middle of the grip, mm.")] = 0.0,
    extension_mm: Annotated[float, typer.Option(help="Square drive to fastener, mm.")] = 0.0,
    extension_angle: Annotated[float, typer.Option(help="Angle of the extension, degrees.")] = 0.0,
    wrench_top_nm: Annotated[float, typer.Option(help="Top of the wrench's scale, N·m.")] = 0.0,
    wrench_lowest_nm: Annotated[float | None, typer.Option(help="Lowest mark on it, N·m.")] = None,
) -> Answer:
    """Check a tightening value; give stages, order and wrench setting. Never an instruction."""
    try:
        percents = [float(part) for part in stages.replace(",", " ").split()]
    except ValueError as error:
        raise BadEntry(f"{stages!r} are not stages in percent.", field="stages", value=stages) from error
    answer = torque_answer(
        value,
        origin=origin,
        other=other,
        document=document,
        page=page,
        second_look=second_look,
        size=size,
        property_class=property_class,
        special=special,
        angle_deg=angle,
        stages_percent=percents,
        bolts=bolts,
        head_columns=head_columns,
        lever_mm=lever_mm,
        extension_mm=extension_mm,
        extension_angle_deg=extension_angle,
        wrench_top_nm=wrench_top_nm,
        wrench_lowest_nm=wrench_lowest_nm,
    )
    lines = [answer["text"], *answer["stages"]]
    if "order" in answer:
        lines.append("Order: " + " ".join(str(n) for n in answer["order"]))
    if "head_order" in answer:
        lines.append("Order from the centre: " + " ".join(str(n) for n in answer["head_order"]))
    if "set_nm" in answer:
        lines.append(f"Set the wrench to {answer['set_nm']:.1f} N·m")
    return Answer(answer, lines + answer["remarks"] + ["The maker's value and order rule."])


def cards(
    ctx: typer.Context,
    out: Annotated[Path, typer.Option(help="File to write the PDF to.")],
    car: Annotated[int | None, typer.Argument(help="Number of the car; its open work is printed.")] = None,
    job: Annotated[int | None, typer.Option(help="Only this piece of work of the car.")] = None,
    file: Annotated[str, typer.Option(help="An assembly (file or shipped name) instead of a car.")] = "",
    target: Annotated[list[str] | None, typer.Option(help="With --file: what to get at; repeatable.")] = None,
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    labels: Annotated[bool, typer.Option("--labels", help="The bag labels instead of the cards.")] = False,
    address: Annotated[
        str, typer.Option(help="Where the phone reaches driveout; the labels' codes lead there.")
    ] = "http://localhost:8321",
) -> Answer:
    """Print job cards or bag labels of a car's work, or of an own assembly, as a PDF."""
    paper_named(paper)
    day = ctx.obj.now().date()
    if (car is None) == (not file):
        raise BadEntry("Name a car or --file, one of the two.", field="car", value=car)
    if car is None:
        plan = strip(_assembly(file), target or [])
        sets: Sequence[CardSet] = [job_cards(plan, "", day)]
        stuck: Sequence[BagLabel] = bag_labels(plan, "", lambda link: f"{address}/#{link}") if labels else ()
    else:
        with ctx.obj.reading() as tx:
            works = [actions.work_of(tx, car, job)] if job else actions.every_work(tx, car)
            sets = actions.cards_of(tx, car, works, day)
            stuck = actions.labels_of(tx, car, works, address) if labels else ()
    data = labels_pdf(stuck, day, paper) if labels else cards_pdf(sets, paper)
    try:
        out.write_bytes(data)
    except OSError as error:
        raise BadEntry(
            f"{out} cannot be written: {error.strerror or error}.", field="out", value=str(out)
        ) from error
    what = f"{len(stuck)} bag labels" if labels else f"job cards of {len(sets)} pieces of work"
    facts = {"file": str(out), "bytes": len(data), "labels": len(stuck), "jobs": len(sets), "paper": paper}
    return Answer(facts, [f"Wrote {out}: {what}, {paper}."])


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise BadEntry(
            f"{path} cannot be read: {error.strerror or error}.", field="file", value=str(path)
        ) from error
