"""The chapter Faults: what is probably wrong, why, and the results of checks."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field
from sqlalchemy import Connection

from driveout.cars.actions import get_car
from driveout.errors import DriveoutError
from driveout.faults import actions
from driveout.faults.network import SILENT, SUPPOSED, Network
from driveout.faults.network_file import read_network
from driveout.faults.pack import SYSTEMS, Check, Pack
from driveout.faults.posterior import Posterior, infer
from driveout.faults.reply import plain_answer, spoken
from driveout.faults.shipped import shipped_network, with_silence
from driveout.web import Chapter, Form, PostedForm, Undo, now, page, reading, submit

router = APIRouter()
api = APIRouter(prefix="/api")
CHAPTERS = (Chapter("faults", "Faults", order=25),)

STAGES = (
    ("phone", "On the phone"),
    ("paper", "Papers"),
    ("walk", "Round the car"),
    ("bonnet", "Bonnet open, engine cold"),
    ("start", "Start and idle"),
    ("drive", "On the road"),
    ("under", "Under the car"),
)
SHOWN = 10
LEAST_SPOKEN = 0.05


@dataclass(frozen=True)
class Reason:
    """One piece of evidence in words, and how hard it pulls."""

    words: str
    pull: str


@dataclass(frozen=True)
class CauseRow:
    """One row of the table of probable causes."""

    name: str
    chance: float
    safety: str
    note: str
    speaking_for: tuple[Reason, ...]
    against: tuple[Reason, ...]
    moved: bool


@router.get("/cars/{car_id}/faults")
def show(request: Request, car_id: int, find: str = "", check: str = "") -> Response:
    """What is probably wrong with the car, what speaks for it, and where to record the result of a check.

    ``find`` searches the checks, ``check`` opens one.
    """
    with reading(request) as tx:
        return _faults_page(request, tx, car_id, find=find, check=check)


@router.post("/cars/{car_id}/faults/finding")
def record(request: Request, car_id: int, form: PostedForm) -> Response:
    """Record the result of a check."""
    chosen = form.raw.get("check", "")
    return submit(
        request,
        lambda tx: actions.record_finding(
            tx,
            car_id,
            finding=form.text("finding"),
            outcome=form.text("outcome"),
            note=form.text("note", required=False, longest=2000),
            at=now(request),
        ),
        then=f"/cars/{car_id}/faults",
        again=lambda tx, error: _faults_page(request, tx, car_id, check=chosen, form=form, error=error),
        undo=lambda found: Undo(
            f"/cars/{car_id}/faults/take-back",
            {"row": str(found.id), "version": str(found.version)},
            f"Recorded: {form.raw.get('outcome', '')}.",
        ),
    )


@router.post("/cars/{car_id}/faults/proved")
def prove(request: Request, car_id: int, form: PostedForm) -> Response:
    """Record what taking apart has proved."""
    return submit(
        request,
        lambda tx: actions.prove_fault(
            tx,
            car_id,
            fault=form.text("fault"),
            is_there=form.choice("is_there", ("yes", "no")) == "yes",
            at=now(request),
        ),
        then=f"/cars/{car_id}/faults",
        again=lambda tx, error: _faults_page(request, tx, car_id, form=form, error=error),
    )


@router.post("/cars/{car_id}/faults/take-back")
def take_back(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take a recorded finding back."""
    return submit(
        request,
        lambda tx: actions.take_back_finding(
            tx,
            car_id,
            form.whole("row", least=1) or 0,
            version=form.whole("version", least=1),
            at=now(request),
        ),
        then=f"/cars/{car_id}/faults",
        again=lambda tx, error: _faults_page(request, tx, car_id, form=form, error=error),
    )


@router.get("/knowledge")
def show_knowledge(request: Request) -> Response:
    """Every fault and finding that driveout knows, with its numbers and your own changes."""
    with reading(request) as tx:
        return _knowledge_page(request, tx)


@router.post("/knowledge")
def change_knowledge(request: Request, form: PostedForm) -> Response:
    """Take over the person's own pack for every car."""
    return submit(
        request,
        lambda tx: actions.keep_own_pack(
            tx,
            form.text("content", required=False, longest=1_000_000),
            name=form.text("name", required=False, longest=200),
            at=now(request),
        ),
        then="/knowledge",
        again=lambda tx, error: _knowledge_page(request, tx, form, error),
    )


def _knowledge_page(
    request: Request, tx: Connection, form: Form | None = None, error: DriveoutError | None = None
) -> Response:
    pack = actions.knowledge_of(tx)
    systems = [
        (
            system,
            [f for f in pack.faults.values() if f.system == system],
            [s for s in pack.signs.values() if s.system == system],
        )
        for system in SYSTEMS
    ]
    return page(
        request,
        "faults/knowledge.html",
        form=form,
        error=error,
        pack=pack,
        own=actions.own_pack(tx),
        systems=systems,
    )


def _faults_page(
    request: Request,
    tx: Connection,
    car_id: int,
    *,
    find: str = "",
    check: str = "",
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    car = get_car(tx, car_id)
    network = actions.network_for(tx, car)
    pack = actions.knowledge_of(tx)
    posterior = actions.posterior_of(tx, car_id)
    rows = _cause_rows(posterior, pack)
    present = actions.findings_of(tx, car_id)
    past = [f for f in actions.findings_of(tx, car_id, with_history=True) if f.undone]
    results = {f.finding: f.outcome for f in present}
    opened = pack.checks.get(check)
    return page(
        request,
        "faults/faults.html",
        tx=tx,
        car_id=car_id,
        chapter="faults",
        form=form,
        error=error,
        likely=rows[:SHOWN],
        unlikely=rows[SHOWN:],
        silences=sum(label == SILENT for label in posterior.evidence.values()),
        runs=actions.class_of(car),
        opened=opened,
        opened_findings=[network.finding[f] for f in opened.findings] if opened else [],
        results=results,
        fault_names=sorted(((f.id, f.name) for f in pack.faults.values()), key=lambda pair: pair[1]),
        find=find,
        hits=search(pack.checks.values(), find) if find else [],
        stages=[
            (title, [c for c in pack.checks.values() if c.stage == stage and c.findings])
            for stage, title in STAGES
        ],
        readings=[
            (actions.name_of(network, finding), outcome)
            for finding, outcome in actions.measured(tx, car_id, network).items()
            if finding not in results
        ],
        present=[(f, actions.name_of(network, f.finding)) for f in present],
        past=[(f, actions.name_of(network, f.finding)) for f in past],
    )


def _cause_rows(posterior: Posterior, pack: Pack) -> list[CauseRow]:
    speaks = spoken(posterior)
    rows = []
    for cause in posterior.network.causes:
        for state in cause.states:
            fault_id = cause.fault_of(state)
            fault = pack.faults.get(fault_id)
            said = [s for s in speaks[fault_id] if abs(s.log_odds) >= LEAST_SPOKEN]
            pairs = [
                (s.log_odds > 0, Reason(_words(posterior.network, s.finding, s.outcome), pull(s.log_odds)))
                for s in said[:8]
            ]
            rows.append(
                CauseRow(
                    fault.name if fault else state.name or cause.name,
                    posterior.faults[fault_id],
                    fault.safety if fault else "",
                    fault.note if fault else "",
                    tuple(reason for is_for, reason in pairs if is_for),
                    tuple(reason for is_for, reason in pairs if not is_for),
                    any(s.finding != SILENT for s in said),
                )
            )
    return sorted(rows, key=lambda row: -row.chance)


def _words(network: Network, finding: str, outcome: str) -> str:
    if finding == SILENT:
        return "What the advert does not mention"
    name = actions.name_of(network, finding)
    known = network.finding.get(finding)
    if known is not None and known.kind == "advert":
        if outcome == SUPPOSED:
            return f"{name} (only supposed)"
        return name if outcome != known.outcomes[0] else f"{name} (denied)"
    return f"{name}: {outcome}"


def pull(log_odds: float) -> str:
    """How hard a piece of evidence pulls, in words and as a factor on the odds."""
    from math import exp

    size = abs(log_odds)
    strength = "slightly" if size < 0.7 else "clearly" if size < 2 else "strongly" if size < 4 else "decides"
    factor = f"odds ×{exp(min(size, 20)):.3g}" if log_odds > 0 else f"odds ÷{exp(min(size, 20)):.3g}"
    return f"{strength}, {factor}"


def search(checks: Iterable[Check], words: str) -> list[Check]:
    """Checks whose text has the words, or nearly so; best first."""
    from rapidfuzz import fuzz

    scored = [
        (fuzz.partial_token_set_ratio(words.lower(), f"{c.id} {c.do}".lower()), c)
        for c in checks
        if c.findings
    ]
    scored = [(s + fuzz.partial_ratio(words.lower(), c.do.lower()) / 100, c) for s, c in scored if s >= 70]
    return [c for _, c in sorted(scored, key=lambda pair: -pair[0])[:12]]


class Question(BaseModel):
    """What is asked of ``/api/posterior``."""

    network: dict[str, Any] | None = Field(
        None, description="Own network as in a driveout-network/1 file; the shipped pack when left out."
    )
    runs: Literal["runner", "sick", "dead"] = Field(
        "runner", description="Class of advert for the shipped pack."
    )
    car: dict[str, Any] = Field(
        default_factory=dict, description="mileage_km, gearbox, drive, turbo, salt_region, electric_steering."
    )
    own_pack: str | None = Field(
        None, description="Content of a driveout-pack/1 file laid over the shipped pack."
    )
    evidence: dict[str, str] = Field(default_factory=dict, description="Finding id to outcome, or 'silent'.")
    silence: bool = Field(False, description="Take what the advert does not mention as weak evidence.")


@api.post("/posterior")
def posterior(question: Annotated[Question, Body()]) -> dict[str, Any]:
    """What is probably wrong, exactly, and which finding speaks for which fault."""
    if question.network is not None:
        model = read_network(json.dumps({"schema": "driveout-network/1", **question.network}), "network")
    else:
        model = shipped_network(question.runs, question.own_pack, question.car)
    evidence = with_silence(model, question.evidence) if question.silence else question.evidence
    return plain_answer(infer(model, evidence))


@api.get("/cars/{car_id}/posterior")
def posterior_of_car(request: Request, car_id: int) -> dict[str, Any]:
    """What is probably wrong with one car, by all that is recorded about it."""
    with reading(request) as tx:
        return plain_answer(actions.posterior_of(tx, car_id))
