"""Commands: weigh one advert, show what is read from a text, sift a table of adverts."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from datetime import date
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Annotated, Any

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry, BadRows, CannotSay
from driveout.faults import knowledge, read_network
from driveout.files import Table, csv_table, yaml_document
from driveout.hunt import actions
from driveout.hunt.advert import Advert, MoneyRange, amount, unusual
from driveout.hunt.advert_file import advert_data, advert_from_document
from driveout.hunt.reader import ReadAdvert, read_advert
from driveout.hunt.reading import value_text
from driveout.hunt.sensitivity import MOST_FAULTS, moved_lines, sensitivity, typical_adverts
from driveout.hunt.setting import Setting
from driveout.hunt.sift import (
    CLOSELY,
    FIRST_LOOK_ROWS,
    Sifted,
    adverts_of_table,
    chunks_of,
    ranked,
    result_rows,
    worth_a_closer_look,
)
from driveout.hunt.visits import (
    MOST_MINUTES,
    USUAL_MINUTES,
    LeftOut,
    Visits,
    order_visits,
    visits_as_data,
)
from driveout.hunt.weigh import Weighing, weigh, weighing_as_data
from driveout.hunt.workers import Crew, Job, Outcomes, Piece, cluster_crew, machine_crew
from driveout.outlook import Rules, case_from_file, case_result, rules_from
from driveout.units import Money

RULES_SCHEMA = "driveout-rules/1"
MOST_BYTES = 5_000_000
#: rows that `order` weighs closely; a longer table is for `sift`
MOST_ORDERED = 200

RulesFile = Annotated[Path | None, typer.Option("--rules", help="Own rules (driveout-rules/1).")]
NetworkFile = Annotated[
    Path | None, typer.Option("--network", help="Own fault network (driveout-network/1).")
]
PackFile = Annotated[
    Path | None, typer.Option("--own-pack", help="Own pack (driveout-pack/1) over the shipped one.")
]
RepairsFile = Annotated[
    Path | None, typer.Option("--repairs", help="Own repairs (driveout-repairs/1) over the shipped ones.")
]
ValueOption = Annotated[
    str | None, typer.Option("--value", help="What the clean car sells for: LIKELY or LOW,LIKELY,HIGH.")
]


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("weigh")(weigh_advert)
    cli.command("read-advert")(show_reading)
    cli.command("sift")(sift)
    cli.command("sensitivity")(show_sensitivity)
    cli.command("order")(show_order)


def weigh_advert(
    ctx: typer.Context,
    advert: Annotated[
        str, typer.Argument(help="YAML or JSON (driveout-advert/1), a text file, or - for stdin.")
    ] = "",
    case: Annotated[
        Path | None, typer.Option("--case", help="Own model instead of an advert (driveout-car-case/1).")
    ] = None,
    rules: RulesFile = None,
    network: NetworkFile = None,
    own_pack: PackFile = None,
    repairs: RepairsFile = None,
    value: ValueOption = None,
) -> Answer:
    """Weigh one advert, or a car case of one's own: probable faults, outlook, walk-away price and why."""
    if (case is None) == (not advert):
        raise BadEntry(
            "Give an advert, or --case FILE with a model of your own; one of both.",
            field="advert",
            value=advert,
        )
    if case is not None:
        own = case_result(
            case_from_file(_bytes(case), case.name, None if network is None else _bytes(network))
        )
        return Answer(own, _case_lines(own))
    setting = _setting(rules, network, own_pack, repairs)
    today = ctx.obj.now().date()
    content, name = _content(advert)
    facts, read = _advert(content, name, setting, today)
    if value is not None:
        facts = _with_value(facts, value)
    weighing = weigh(
        facts, setting.rules, setting.network_of(facts), setting.repairs_of(facts), facts=setting.facts
    )
    data = weighing_as_data(weighing) | {"advert": advert_data(facts)}
    questions = [q.text for q in unusual(facts, today)] + list(read.questions if read else ())
    data["questions"] = questions
    return Answer(data, _weighing_lines(facts, weighing, questions))


def show_reading(
    ctx: typer.Context,
    text: Annotated[str, typer.Argument(help="Text file, or - for stdin.")],
    currency: Annotated[str, typer.Option(help="Currency when the text names none.")] = "USD",
    network: NetworkFile = None,
    own_pack: PackFile = None,
) -> Answer:
    """Show what is read from an advert's text, with the words that led to it."""
    setting = _setting(None, network, own_pack, None)
    content, _ = _content(text)
    read = read_advert(
        _decoded(content), phrases=setting.phrases, today_year=ctx.obj.now().year, currency=currency
    )
    return Answer(read.as_dict(), reading_lines(read))


def show_sensitivity(
    ctx: typer.Context,
    advert: Annotated[
        str,
        typer.Argument(
            help="YAML or JSON (driveout-advert/1) or a text file; the shipped adverts if left out."
        ),
    ] = "",
    rules: RulesFile = None,
    own_pack: PackFile = None,
    repairs: RepairsFile = None,
    value: ValueOption = None,
    most: Annotated[int, typer.Option(min=1, max=1000, help="Numbers to show.")] = 20,
    faults: Annotated[
        int, typer.Option(min=1, max=500, help="Heaviest faults of each advert to look at.")
    ] = MOST_FAULTS,
) -> Answer:
    """Show which numbers of the pack and the repairs move the walk-away price most, one at a time."""
    setting = _setting(rules, None, own_pack, repairs)
    today = ctx.obj.now().date()
    if advert:
        facts, _ = _advert(*_content(advert), setting, today)
        adverts: list[tuple[Advert, dict[str, str]]] = [
            (facts if value is None else _with_value(facts, value), {})
        ]
    else:
        adverts = typical_adverts(setting, today.year)
    moved = sensitivity(adverts, setting, most_faults=faults)[:most]
    currency = setting.rules.currency
    data = {
        "currency": currency,
        "money_unit": "minor",
        "numbers": [
            {**vars(one.number), "swing_minor": round(one.width),
             "walk_away_minor": {str(n): [round(p) for p in pair] for n, pair in one.prices.items()}}
            for one in moved
        ],
    }  # fmt: skip
    return Answer(data, moved_lines(moved, currency, most))


def sift(
    ctx: typer.Context,
    adverts: Annotated[Path, typer.Argument(help="CSV of adverts (docs/formats/adverts-csv.md).")],
    out: Annotated[Path, typer.Option("--out", help="CSV to write, best first.")],
    workers: Annotated[
        int, typer.Option(min=0, max=512, help="Processes on this machine; 0 takes one for each core.")
    ] = 0,
    cluster: Annotated[str | None, typer.Option(help="Address of a Dask scheduler.")] = None,
    closely: Annotated[
        int,
        typer.Option(
            min=0,
            help="Weigh only so many by every rule, chosen by a first look at all; 0 weighs every advert.",
        ),
    ] = CLOSELY,
    resume: Annotated[bool, typer.Option("--resume", help="Go on where an earlier run stopped.")] = False,
    rules: RulesFile = None,
    network: NetworkFile = None,
    own_pack: PackFile = None,
    repairs: RepairsFile = None,
    value: ValueOption = None,
) -> Answer:
    """Weigh every advert of a table and write them in order, each with its reason."""
    setting = _setting(rules, network, own_pack, repairs)
    content = _bytes(adverts)
    table = csv_table(content, adverts.name)
    job = Job(setting, ctx.obj.now().date(), _range(value, setting.rules.currency) if value else None)
    own = (*(b"" if p is None else _bytes(p) for p in (network, own_pack, repairs)), str(closely).encode())
    mark = mark_of(content, setting.rules, value, job.today, own)
    if "loss" not in setting.rules.chosen:
        closely = 0  # the first look goes by the loss rule
    with _crew(job, workers, cluster) as crew:
        rows, wrong = _sift_all(table, crew, _Progress(out, mark, resume), closely)
    wrong = [*table.bad_rows, *wrong]
    if not rows:
        raise BadRows(wrong, f"None of the {len(table.rows)} rows of {adverts.name} can be used.")
    _write_whole(out, _csv_text(result_rows(rows)))
    part_file(out).unlink(missing_ok=True)
    return Answer(_sift_data(rows, wrong, out), _sift_lines(rows, wrong, out))


def show_order(
    ctx: typer.Context,
    adverts: Annotated[
        Path | None,
        typer.Argument(
            help="CSV of adverts (docs/formats/adverts-csv.md); the record's adverts if left out."
        ),
    ] = None,
    minutes: Annotated[
        float, typer.Option(min=0, max=MOST_MINUTES, help="Time for driving and looking. [min]")
    ] = USUAL_MINUTES,
    rules: RulesFile = None,
    network: NetworkFile = None,
    own_pack: PackFile = None,
    repairs: RepairsFile = None,
    value: ValueOption = None,
) -> Answer:
    """Say which car to go and see first, which fit into the day, and what an own hour brings."""
    if adverts is None:
        if any(given is not None for given in (rules, network, own_pack, repairs, value)):
            raise BadEntry(
                "--rules, --network, --own-pack, --repairs and --value go with a CSV; the record has its own.",
                field="adverts",
                fix="Give a CSV of adverts, or leave these options out.",
            )
        with ctx.obj.reading() as tx:
            found = actions.order_of_viewings(tx, minutes=minutes)
        return Answer(visits_as_data(found), _order_lines(found))
    setting = _setting(rules, network, own_pack, repairs)
    table = csv_table(_bytes(adverts), adverts.name)
    if len(table.rows) > MOST_ORDERED:
        raise BadEntry(
            f"{adverts.name} has {len(table.rows):,} rows; up to {MOST_ORDERED} can be put in order. Sift them "
            "first and keep the best.",
            field="adverts",
            value=len(table.rows),
            allowed=f"up to {MOST_ORDERED} rows",
        )
    likely = _range(value, setting.rules.currency) if value else None
    rows, wrong = adverts_of_table(table, setting, today=ctx.obj.now().date(), value=likely)
    if not rows:
        raise BadRows(wrong, f"None of the {len(table.rows)} rows of {adverts.name} can be used.")
    found = _order_of_rows(rows, setting, minutes)
    data = visits_as_data(found) | {"bad_rows": [entry.as_dict()["error"] for entry in wrong]}
    return Answer(data, _order_lines(found) + [f"Row left out: {entry}" for entry in wrong])


def _order_of_rows(rows: Sequence[tuple[int, Advert]], setting: Setting, minutes: float) -> Visits:
    weighed: list[tuple[int, str, Weighing]] = []
    missing: list[LeftOut] = []
    for line, advert in rows:
        name = advert.name or f"Line {line}"
        try:
            weighing = weigh(
                advert,
                setting.rules,
                setting.network_of(advert),
                setting.repairs_of(advert),
                facts=setting.facts,
                with_swings=False,
            )
            weighed.append((line, name, weighing))
        except (CannotSay, BadEntry) as error:
            missing.append(LeftOut(line, name, error.message))
    return order_visits(weighed, minutes, missing, setting.rules.currency)


# ---------------------------------------------------------------- reading what was given


def _setting(
    rules: Path | None, network: Path | None, own_pack: Path | None, repairs: Path | None
) -> Setting:
    pack = None if own_pack is None else _bytes(own_pack)
    if own_pack is not None:
        knowledge(pack, own_pack.name)
    return Setting(
        rules=Rules() if rules is None else rules_file(_bytes(rules), rules.name),
        network=None if network is None else read_network(_bytes(network), network.name),
        own_pack=pack,
        own_repairs=None if repairs is None else _bytes(repairs),
    )


def rules_file(content: bytes, name: str) -> Rules:
    """The person's own rules from a file."""
    document = yaml_document(content, name, RULES_SCHEMA)
    try:
        return rules_from({key: value for key, value in document.data.items() if key != "schema"})
    except BadEntry as error:
        raise document.bad(
            (error.field,), error.message, value=error.value, allowed=error.allowed, fix=error.fix
        ) from error


def _content(given: str) -> tuple[bytes, str]:
    if given == "-":
        content = sys.stdin.buffer.read(MOST_BYTES + 1)
        return _not_too_large(content, "stdin"), "stdin"
    return _bytes(Path(given)), Path(given).name


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise BadEntry(
            f"{path} cannot be read: {error.strerror or error}.", field="file", value=str(path)
        ) from error


def _not_too_large(content: bytes, name: str) -> bytes:
    if len(content) > MOST_BYTES:
        raise BadEntry(
            f"{name} has more than {MOST_BYTES:,} bytes; an advert is shorter. Give only the advert.",
            field="advert",
            allowed=f"up to {MOST_BYTES:,} bytes",
        )
    return content


def _advert(content: bytes, name: str, setting: Setting, today: date) -> tuple[Advert, ReadAdvert | None]:
    """An advert file, or else a text to be read."""
    head = content[:3].removeprefix(b"\xef\xbb\xbf") + content[3:4096]
    looks_like_file = name.lower().endswith((".yaml", ".yml", ".json")) or b"driveout-advert/" in head
    if looks_like_file:
        known = {finding for finding, _ in setting.phrases}
        if setting.network is not None:
            known = set(setting.network.finding)
        document = yaml_document(content, name, "driveout-advert/1")
        return advert_from_document(document, today=today, known_findings=known), None
    read = read_advert(
        _decoded(_not_too_large(content, name)),
        phrases=setting.phrases,
        today_year=today.year,
        currency=setting.rules.currency,
    )
    return read.advert(seen_on=today), read


def _decoded(content: bytes) -> str:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16", errors="replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def _range(text: str, currency: str) -> MoneyRange:
    points = [part.strip() for part in text.split(",")]
    if len(points) not in (1, 3):
        raise BadEntry(
            f'--value is "{text}"; one amount or LOW,LIKELY,HIGH was expected, such as 3900,4400,4900.',
            field="value",
            value=text,
            allowed="LIKELY or LOW,LIKELY,HIGH",
        )
    return MoneyRange(*(amount(point, currency, "value") for point in (points * 3)[:3]))


def _with_value(advert: Advert, value: str) -> Advert:
    return replace(advert, clean_value=_range(value, advert.currency))


# ---------------------------------------------------------------- what is printed


def reading_lines(read: ReadAdvert) -> list[str]:
    """What was read, one line each, with the words in quotes."""
    lines = []
    for item in read.items:
        denied = "no " if item.said == "no" else ""
        hedge = " (only supposed)" if item.hedged else ""
        other = (
            f"; or {', '.join(value_text(a.value) for a in item.alternatives)}" if item.alternatives else ""
        )
        lines.append(
            f'{item.what:<24} {denied}{value_text(item.value)}{hedge}{other}  <- "{item.words.text.strip()}" [{item.confidence}]'
        )
    return lines + [f"Question: {question}" for question in read.questions]


def _weighing_lines(advert: Advert, weighing: Weighing, questions: list[str]) -> list[str]:
    lines = [advert.name or "The advert", ""]
    lines += list(weighing.why)
    likely = [c for c in weighing.causes if c.chance >= 0.05][:8]
    if likely:
        lines += ["", "Probable faults:"]
        lines += [f"  {100 * c.chance:3.0f} %  {c.name}" for c in likely]
    if weighing.swings:
        lines += ["", "What moves the walk-away price most:"]
        for s in weighing.swings[:5]:
            low, high = (Money(round(x), advert.currency).text() for x in (s.at_low, s.at_high))
            lines.append(f"  {s.label}: {low} to {high}")
    lines += [f"Assumed: {note}" for note in weighing.missing]
    return lines + [f"Question: {question}" for question in questions]


def _order_lines(order: Visits) -> list[str]:
    lines = [
        f"{len(order.round)} of {len(order.visits)} cars fit into {order.minutes:g} min: "
        f"{order.round_hours:.1f} h if every one is seen, {order.gain.text()} on average."
    ]
    for rank, visit in enumerate(order.visits, 1):
        today = f"stop {visit.place} today" if visit.place else "not today"
        lines.append(
            f"{rank:3d}. {visit.name[:50]}: worth of going {visit.index.text()}, "
            f"{visit.hours:.1f} h, {today}. {visit.why}"
        )
    lines += [f"Not to be compared: {one.name[:50]}: {one.missing}" for one in order.left_out]
    if order.wage is not None and order.rule_wage is not None:
        lines.append(
            f"An own hour brings {order.wage.text()} at best over these adverts; "
            f"the rules say {order.rule_wage.text()}."
        )
    else:
        lines.append(f"What an own hour brings cannot be said: {order.wage_missing}")
    return lines


def _case_lines(result: dict[str, Any]) -> list[str]:
    profit = result["outlook"]["profit_minor"]
    low, middle, high = (Money(profit[key], result["currency"]).text() for key in ("p10", "p50", "p90"))
    lines = [
        result["name"],
        "",
        f"Walk away above {result['walk_away']}: the rule {result['binding_rule']} sets it.",
        f"Profit {middle} in the middle, {low} to {high} in eight of ten cases; a loss in "
        f"{100 * result['outlook']['loss_chance']:.0f} of 100.",
        "",
        "Probable faults:",
    ]
    likely = sorted(result["chances"].items(), key=lambda pair: -pair[1])
    return lines + [f"  {100 * chance:3.0f} %  {fault}" for fault, chance in likely[:8]]


def _sift_data(rows: list[Sifted], wrong: list[BadEntry], out: Path) -> dict[str, Any]:
    counts: dict[str, int] = {}
    for row in rows:
        counts[row.verdict] = counts.get(row.verdict, 0) + 1
    best = [row.as_dict() | {"gain_shrunk": pulled} for row, pulled in ranked(rows)[:20]]
    return {
        "out": str(out),
        "weighed": len(rows),
        "verdicts": counts,
        "best": best,
        "bad_rows": [entry.as_dict()["error"] for entry in wrong],
    }


def _sift_lines(rows: list[Sifted], wrong: list[BadEntry], out: Path) -> list[str]:
    lines = [f"{len(rows):,} adverts weighed, written to {out}."]
    for rank, (row, _) in enumerate(ranked(rows)[:10], 1):
        limit = (
            "" if row.walk_away is None else f", walk away above {Money(row.walk_away, row.currency).text()}"
        )
        lines.append(f"{rank:3d}. line {row.line}: {row.name[:50] or 'no name'}: {row.verdict}{limit}")
    if wrong:
        lines.append(f"{len(wrong)} entries cannot be used; their rows were left out:")
        lines += [f"  {entry}" for entry in wrong[:50]]
        if len(wrong) > 50:
            lines.append(f"  and {len(wrong) - 50} more (all of them with --json)")
    return lines


def mark_of(table: bytes, rules: Rules, value: str | None, today: date, own: Sequence[bytes]) -> str:
    """What tells whether a stopped run had the same program, table, rules, knowledge and day."""
    try:
        program = version("driveout")
    except PackageNotFoundError:
        program = ""
    parts = [
        table,
        program.encode(),
        repr(rules).encode(),
        (value or "").encode(),
        today.isoformat().encode(),
        *own,
    ]
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


# ---------------------------------------------------------------- many rows, with a file to go on from


class _Progress:
    """Outcomes written piece by piece beside the result, so that a stopped run can go on."""

    def __init__(self, out: Path, mark: str, resume: bool) -> None:
        self.file = part_file(out)
        self.mark = mark
        self.done: dict[str, Piece] = {}
        if resume and self.file.exists():
            self._read()

    def _read(self) -> None:
        lines = self.file.read_text(encoding="utf-8").splitlines()
        try:
            head = json.loads(lines[0]) if lines else {}
        except json.JSONDecodeError:
            head = {}
        if head.get("mark") != self.mark:
            raise BadEntry(
                f"{self.file} belongs to another table, other rules or another day. Run without --resume to start anew.",
                field="resume",
                value=str(self.file),
                fix="Run without --resume to start anew.",
            )
        for line in lines[1:]:
            try:
                entry = json.loads(line)
                self.done[entry["piece"]] = (
                    [Sifted(**row) for row in entry["rows"]],
                    [BadEntry(**bad) for bad in entry["wrong"]],
                )
            except (json.JSONDecodeError, KeyError, TypeError):
                break  # the last line of a killed run may be torn; that piece is weighed again

    @contextmanager
    def writing(self) -> Iterator[Any]:
        """Open the file for the pieces to come, with those already done kept."""
        self.file.parent.mkdir(parents=True, exist_ok=True)
        fresh = self.file.with_name(self.file.name + ".new")
        with fresh.open("w", encoding="utf-8") as handle:
            handle.write(json.dumps({"mark": self.mark}) + "\n")
            for number, piece in self.done.items():
                handle.write(piece_line(number, piece))
        fresh.replace(self.file)
        with self.file.open("a", encoding="utf-8") as handle:
            yield handle


def piece_line(number: str, piece: Piece) -> str:
    """One finished piece as a line of the part file."""
    rows, wrong = piece
    keys = ("message", "field", "value", "allowed", "fix", "place")
    entry = {
        "piece": number,
        "rows": [row.as_dict() for row in rows],
        "wrong": [{key: bad.as_dict()["error"][key] for key in keys} for bad in wrong],
    }
    return json.dumps(entry, ensure_ascii=False) + "\n"


def _carry_out(
    name: str,
    pieces: Mapping[str, Table],
    work: Callable[[Mapping[int, Table]], Outcomes],
    progress: _Progress,
) -> list[Piece]:
    """Every piece done, in the order given; those done by a stopped run are taken over."""
    done = progress.done
    numbered = dict(enumerate(pieces))
    todo = {k: pieces[key] for k, key in numbered.items() if key not in done}
    with progress.writing() as handle, _bar() as bar:
        total = sum(len(piece.rows) for piece in pieces.values())
        task = bar.add_task(name, total=total, completed=total - sum(len(p.rows) for p in todo.values()))
        for k, piece in work(todo) if todo else ():
            done[numbered[k]] = piece
            handle.write(piece_line(numbered[k], piece))
            handle.flush()
            bar.advance(task, len(todo[k].rows))
    return [done[key] for key in pieces]


def _crew(job: Job, workers: int, cluster: str | None) -> AbstractContextManager[Crew]:
    if cluster:
        return cluster_crew(job, cluster)
    # One thread in each process: the processes share the cores, and sums are always
    # added in the same order, so the last digit does not depend on the machine.
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"
    return machine_crew(job, workers or os.cpu_count() or 1)


def _bar() -> Any:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    return Progress(*columns, console=Console(stderr=True), transient=True)


def _sift_all(
    table: Table, crew: Crew, progress: _Progress, closely: int
) -> tuple[list[Sifted], list[BadEntry]]:
    """Every row weighed, or in a long table a first look at all and a close one at the best."""
    if not closely or len(table.rows) <= closely:
        pieces = {f"close {k}": piece for k, piece in enumerate(chunks_of(table))}
        return _joined(_carry_out("Weighing", pieces, crew.weighings, progress))
    pieces = {f"look {k}": piece for k, piece in enumerate(chunks_of(table, FIRST_LOOK_ROWS))}
    rough, wrong = _joined(_carry_out("First look", pieces, crew.first_looks, progress))
    best = set(worth_a_closer_look(rough, closely))
    short = replace(table, rows=tuple(row for row in table.rows if row.line in best), bad_rows=())
    pieces = {f"close {k}": piece for k, piece in enumerate(chunks_of(short))}
    close, _ = _joined(_carry_out("Weighing", pieces, crew.weighings, progress))
    return [*close, *(row for row in rough if row.line not in best)], wrong


def _joined(pieces: Sequence[Piece]) -> tuple[list[Sifted], list[BadEntry]]:
    return [row for rows, _ in pieces for row in rows], [bad for _, many in pieces for bad in many]


def part_file(out: Path) -> Path:
    """Where finished pieces stand until the result is complete."""
    return out.with_name(out.name + ".part")


def _csv_text(rows: list[list[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _write_whole(path: Path, text: str) -> None:
    """The old file stays until the new one is complete."""
    fresh = path.with_name(path.name + ".new")
    fresh.write_text(text, encoding="utf-8")
    fresh.replace(path)
