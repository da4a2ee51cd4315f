"""Commands: plan a strip and refit, check a tightening value, list the shipped assemblies."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.workshop.assembly_file import SHIPPED, read_assembly, shipped_assembly
from driveout.workshop.practice import caution
from driveout.workshop.strip import StripPlan, strip
from driveout.workshop.torque_answer import torque_answer


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("strip")(strip_command)
    cli.command("torque")(torque)


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
    path = Path(assembly)
    if assembly in SHIPPED:
        held = shipped_assembly(assembly)
    elif path.suffix or path.exists():
        held = read_assembly(_bytes(path), path.name, strict=False)
    else:
        held = shipped_assembly(assembly)
    plan = strip(held, target or [], variants=variant or [])
    return Answer(plan.as_dict(), _lines(plan))


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


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise BadEntry(
            f"{path} cannot be read: {error.strerror or error}.", field="file", value=str(path)
        ) from error
