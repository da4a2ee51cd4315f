"""The chapter Wear: a whole corner on one form, paint on an outline, single topics, limits, the printed sheet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from statistics import median
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response
from sqlalchemy import Connection as Tx

from driveout.cars.actions import get_car
from driveout.cars.odometer import miles_to_next_step
from driveout.cars.papers import EVENTS, WINDOWS, SellerRule, disclosure_duty, shipped_rules
from driveout.cars.vin import read_vin
from driveout.errors import BadEntry, DriveoutError
from driveout.sources import cite, shelf
from driveout.wear import actions
from driveout.wear.limits import QUANTITIES, Limit, shipped_limits
from driveout.wear.outline import GLASS, HEIGHT, SHAPES, WIDTH, mark
from driveout.wear.topics import CORNERS, TOPICS, Field, Topic, read_entries, topic
from driveout.wear.verdict import HOLDS, Verdict
from driveout.wear.wear_file import judge_file
from driveout.web import Chapter, Form, PostedForm, now, page, reading, submit

router = APIRouter()
api = APIRouter(prefix="/api")
CHAPTERS = (Chapter("wear", "Wear", order=50),)

# Pages in the order of walking round the car; `setup` and `limits` come first because they decide.
SINGLE = (
    "engine",
    "battery",
    "fluids",
    "steering",
    "tyre_sets",
    "papers",
    "test_drive",
    "first_drive",
    "passes",
    "setup",
)
DRAWINGS = {
    "corner": "wear/draw_corner.html",
    "paint": "wear/draw_paint.html",
    "engine": "wear/draw_engine.html",
    "battery": "wear/draw_battery.html",
    "fluids": "wear/draw_fluids.html",
    "steering": "wear/draw_steering.html",
    "tyre_sets": "wear/draw_tyre_sets.html",
    "papers": "wear/draw_papers.html",
    "test_drive": "wear/draw_drive.html",
    "first_drive": "wear/draw_drive.html",
    "passes": "wear/draw_passes.html",
    "setup": "wear/draw_setup.html",
}
FAST = {"corner": ("Brake", "Tyre"), "paint": ("",)}


def slug(spot: str) -> str:
    """Spot as part of an address."""
    return spot.replace(" ", "-")


def spot_of(of: Topic, text: str) -> str:
    """Spot named in an address, or a refusal."""
    found = next((spot for spot in of.spots if slug(spot) == text), None)
    if found is None:
        raise BadEntry(
            f"{text!r} is not a spot of {of.title}.", field="spot", value=text, allowed=", ".join(of.spots)
        )
    return found


@dataclass(frozen=True)
class Drawn:
    """A field as the form shows it: what was last entered, and what stands chosen."""

    field: Field
    name: str
    last: str
    chosen: tuple[str, ...]


def _drawn(of: Topic, kept: dict[str, str], prefix: str = "") -> list[tuple[str, list[Drawn]]]:
    """Fields in their groups, in order."""
    groups: dict[str, list[Drawn]] = {}
    for field in of.fields:
        last = kept.get(field.name, "")
        chosen = tuple(part.strip() for part in last.split(";")) if field.many and field.options else (last,)
        groups.setdefault(field.group, []).append(Drawn(field, prefix + field.name, last, chosen))
    return list(groups.items())


def _typed(of: Topic, form: Form, kept: dict[str, str], prefix: str = "") -> dict[str, str]:
    """What a form says: text when filled, ``-`` erases, choices and ticks when they differ from before."""
    found: dict[str, str] = {}
    for field in of.fields:
        name = prefix + field.name
        if field.options and field.many:
            text = "; ".join(form.many(name))
        elif field.tick:
            text = "yes" if form.ticked(name) else ""
        else:
            text = form.text(name, required=False, longest=4000).strip()
        before = kept.get(field.name, "")
        if field.options or field.tick:
            blank = text in ("", field.options[0] if field.options and not field.many else "")
            if text != before and not (blank and not before):
                found[field.name] = text
        elif text:
            found[field.name] = "" if text == "-" else text
    return found


def _day(form: Form, request: Request) -> date | None:
    return form.day("day", latest=now(request).date()) if form.text("day", required=False) else None


def _km(form: Form) -> float | None:
    text = form.text("km", required=False, longest=30)
    if not text:
        return None
    from driveout.wear.typed import read_quantity

    return read_quantity(text, "km", field="km", name="odometer", least=0, most=3_000_000)


@router.get("/cars/{car_id}/wear")
def show(request: Request, car_id: int) -> Response:
    """What was measured on the car, with each verdict and what to measure next."""
    with reading(request) as tx:
        return _overview(request, tx, car_id)


def _overview(request: Request, tx: Tx, car_id: int) -> Response:
    judged = actions.car_report(tx, car_id, now(request).date())
    worst = sorted(judged.verdicts, key=lambda row: _order(row[2]))
    return page(
        request,
        "wear/wear.html",
        tx=tx,
        car_id=car_id,
        chapter="wear",
        rows=worst,
        judged=judged,
        corners=[(spot, slug(spot), judged.of("corner", spot)) for spot in CORNERS],
        topics=[(key, TOPICS[key].title, judged.of(key)) for key in SINGLE],
        paint=judged.of("paint"),
        findings=[f for f in judged.findings.values() if f.positive],
        outline=_outline(tx, car_id, judged),
        sources=_sources(v for _, _, v in worst),
    )


def _order(verdict: Verdict) -> int:
    return ("past the limit", "close to the limit", "cannot say", HOLDS).index(verdict.outcome)


def _sources(verdicts: Any) -> dict[str, str]:
    """Titles of the sources that decided, by key; the person's own origins stand for themselves."""
    keys = {v.decided_by.source for v in verdicts if v.decided_by is not None}
    keys |= {limit.source for limit in shipped_limits()}
    return {key: cite(key).title if key in shelf() else key for key in keys}


@router.get("/cars/{car_id}/wear/corner/{spot}")
def corner(request: Request, car_id: int, spot: str, keys: str = "") -> Response:
    """Brake, tyre and wheel of one corner, to type in."""
    with reading(request) as tx:
        return _spot_page(request, tx, car_id, "corner", spot, keys=keys)


@router.get("/cars/{car_id}/wear/paint")
def paint(request: Request, car_id: int) -> Response:
    """Paint readings of every panel at once, to type in."""
    with reading(request) as tx:
        return _paint_page(request, tx, car_id)


@router.get("/cars/{car_id}/wear/paint/{spot}")
def panel(request: Request, car_id: int, spot: str) -> Response:
    """One panel and its flaw: how much can be sanded or polished away."""
    with reading(request) as tx:
        return _spot_page(request, tx, car_id, "paint", spot)


@router.get("/cars/{car_id}/wear/limits")
def limits(request: Request, car_id: int) -> Response:
    """The maker's limits of this car, and every limit that driveout brings along."""
    with reading(request) as tx:
        return _limits_page(request, tx, car_id)


@router.get("/cars/{car_id}/wear/sheet")
def sheet(request: Request, car_id: int) -> Response:
    """The inspection sheet that a buyer can read."""
    with reading(request) as tx:
        judged = actions.car_report(tx, car_id, now(request).date())
        titles = [
            (key, TOPICS[key].title)
            for key in ("corner", "steering", "engine", "battery", "fluids", "first_drive")
        ]
        return page(
            request,
            # Drawn without the car's header: the seller's outlook is not the buyer's to read.
            "wear/sheet.html",
            tx=tx,
            car=get_car(tx, car_id),
            groups=[(title, judged.of(key)) for key, title in titles],
            outline=_outline(tx, car_id, judged),
            paint=judged.of("paint"),
            sources=_sources(v for _, _, v in judged.verdicts),
        )


@router.get("/cars/{car_id}/wear/{key}")
def single(request: Request, car_id: int, key: str, keys: str = "") -> Response:
    """One topic to measure, to type in: engine, battery, fluids, steering, papers and more."""
    _demand_single(key)
    with reading(request) as tx:
        return _spot_page(request, tx, car_id, key, slug(TOPICS[key].spots[0]), keys=keys)


def _demand_single(key: str) -> None:
    if key not in SINGLE:
        raise BadEntry(
            f"There is no page {key!r} in this chapter.", field="car", value=key, allowed=", ".join(SINGLE)
        )


def _spot_page(
    request: Request,
    tx: Tx,
    car_id: int,
    key: str,
    spot_slug: str,
    form: Form | None = None,
    error: DriveoutError | None = None,
    keys: str = "",
) -> Response:
    of = topic(key)
    spot = spot_of(of, spot_slug)
    kept = actions.entries_of(tx, car_id, key).get(spot, {})
    verdicts: tuple[Verdict, ...] = ()
    if kept:
        judged = actions.car_report(tx, car_id, now(request).date())
        verdicts = judged.of(key, spot) + (judged.of(key, "axles") if key == "corner" else ())
    groups = _drawn(of, kept)
    fast = FAST.get(key, tuple(name for name, _ in groups))
    after = CORNERS[CORNERS.index(spot) + 1] if key == "corner" and spot != CORNERS[-1] else ""
    return page(
        request,
        "wear/spot.html",
        tx=tx,
        car_id=car_id,
        chapter="wear",
        form=form,
        error=error,
        topic=of,
        spot=spot,
        action=request.url.path if form is None else _action(car_id, key, spot),
        fast=[(name, fields) for name, fields in groups if name in fast],
        more=[(name, fields) for name, fields in groups if name not in fast],
        verdicts=verdicts,
        drawing=DRAWINGS[key],
        # Open until something of the topic is kept: the second corner is measured like the first.
        first=not actions.entries_of(tx, car_id, key),
        inputmode="" if keys == "full" else "decimal",
        after=slug(after),
        sources=_sources(verdicts),
        extra=_extra(tx, car_id, request) if key == "papers" else None,
    )


def _action(car_id: int, key: str, spot: str) -> str:
    base = f"/cars/{car_id}/wear/{key}"
    return f"{base}/{slug(spot)}" if key in ("corner", "paint") else base


def _extra(tx: Tx, car_id: int, request: Request) -> dict[str, Any]:
    """What the papers page shows besides its form: number, disclosure, count of cars, next odometer step."""
    car = get_car(tx, car_id)
    today = now(request).date()
    vin: dict[str, Any] = {}
    if car.vin:
        try:
            read = read_vin(car.vin, this_year=today.year)
            vin = {"vin": read.vin, "holds": read.check_holds, "years": read.years}
        except BadEntry as error:
            vin = {"vin": car.vin, "trouble": error.message}
    rule, version = actions.own_rule(tx)
    return {
        "car": car,
        "vin": vin,
        "duty": disclosure_duty(car.made_year, max(today.year, car.made_year)) if car.made_year else None,
        "rule": rule,
        "rule_version": version,
        "count": actions.cars_counted(tx, today),
        "rules": shipped_rules(),
        "events": EVENTS,
        "windows": WINDOWS,
        "step": miles_to_next_step(car.mileage_km) if car.mileage_km else None,
    }


@router.post("/cars/{car_id}/wear/corner/{spot}")
def enter_corner(request: Request, car_id: int, spot: str, form: PostedForm) -> Response:
    """Keep a corner and go on to the next one."""
    return _enter(request, car_id, "corner", spot, form)


@router.post("/cars/{car_id}/wear/paint/{spot}")
def enter_panel(request: Request, car_id: int, spot: str, form: PostedForm) -> Response:
    """Keep one panel."""
    return _enter(request, car_id, "paint", spot, form)


@router.post("/cars/{car_id}/wear/paint")
def enter_paint(request: Request, car_id: int, form: PostedForm) -> Response:
    """Keep the films of all panels at once."""

    def do(tx: Tx) -> Any:
        of = topic("paint")
        kept = actions.entries_of(tx, car_id, "paint")
        by_spot: dict[str, dict[str, str]] = {}
        for spot in of.spots:
            found = {}
            text = form.text(f"{slug(spot)}.film", required=False, longest=200)
            if text:
                found["film"] = "" if text == "-" else text
            material = form.text(f"{slug(spot)}.material", required=False) or "steel"
            if material != kept.get(spot, {}).get("material", "steel"):
                found["material"] = material
            if found:
                _named(spot, found)
                by_spot[spot] = found
        return actions.record_readings(
            tx, car_id, "paint", by_spot, at=now(request), day=_day(form, request), km=_km(form)
        )

    return submit(
        request,
        do,
        then=f"/cars/{car_id}/wear/paint",
        again=lambda tx, error: _paint_page(request, tx, car_id, form, error),
    )


def _named(spot: str, found: dict[str, str]) -> None:
    """Read one panel so that a bad value is named by its own field of the joint form."""
    try:
        read_entries("paint", spot, {name: text for name, text in found.items() if text})
    except BadEntry as error:
        raise BadEntry(
            f"{spot.capitalize()}: {error.message}",
            field=f"{slug(spot)}.{error.field or 'film'}",
            value=error.value,
            allowed=error.allowed,
        ) from error


@router.post("/cars/{car_id}/wear/limits")
def enter_limit(request: Request, car_id: int, form: PostedForm) -> Response:
    """Keep a maker's value."""
    return submit(
        request,
        lambda tx: actions.set_maker_limit(
            tx,
            car_id,
            form.choice("quantity", list(QUANTITIES)),
            form.choice("side", ("least", "most")),
            form.text("value", longest=60),
            form.text("origin"),
            spot=form.text("spot", required=False),
            at=now(request),
        ),
        then=f"/cars/{car_id}/wear/limits",
        again=lambda tx, error: _limits_page(request, tx, car_id, form, error),
    )


@router.post("/cars/{car_id}/wear/limits/file")
def take_limits(request: Request, car_id: int, form: PostedForm) -> Response:
    """Keep every maker's value of an own file."""

    def do(tx: Tx) -> Any:
        upload = form.file("file")
        if upload is None:
            raise BadEntry("Choose a file with limits.", field="file", allowed="YAML, driveout-limits/1")
        return actions.take_limits(tx, car_id, upload.data, upload.name, at=now(request))

    return submit(
        request,
        do,
        then=f"/cars/{car_id}/wear/limits",
        again=lambda tx, error: _limits_page(request, tx, car_id, form, error),
    )


@router.post("/cars/{car_id}/wear/limits/drop")
def drop_limit(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take a maker's value away."""
    return submit(
        request,
        lambda tx: actions.drop_maker_limit(
            tx,
            car_id,
            form.text("quantity"),
            form.choice("side", ("least", "most")),
            form.text("spot", required=False),
            at=now(request),
            version=form.whole("version") or 0,
        ),
        then=f"/cars/{car_id}/wear/limits",
        again=lambda tx, error: _limits_page(request, tx, car_id, form, error),
    )


@router.post("/cars/{car_id}/wear/seller-rule")
def enter_rule(request: Request, car_id: int, form: PostedForm) -> Response:
    """Keep how the person's own state counts cars."""

    def do(tx: Tx) -> SellerRule:
        rule = SellerRule(
            form.text("place", longest=80),
            tuple(form.many("counts")),
            form.choice("window", WINDOWS),
            form.whole("months", least=1, most=60) or 12,
            form.whole("stop_at", least=1, most=200) or 1,
            form.text("origin"),
        )
        return actions.set_own_rule(tx, rule, version=form.whole("version", required=False))

    return submit(
        request,
        do,
        then=f"/cars/{car_id}/wear/papers",
        again=lambda tx, error: _spot_page(request, tx, car_id, "papers", "papers", form, error),
    )


@router.post("/cars/{car_id}/wear/{key}")
def enter_single(request: Request, car_id: int, key: str, form: PostedForm) -> Response:
    """Keep one topic."""
    _demand_single(key)
    return _enter(request, car_id, key, slug(TOPICS[key].spots[0]), form)


def _enter(request: Request, car_id: int, key: str, spot_slug: str, form: Form) -> Response:
    of = topic(key)
    spot = spot_of(of, spot_slug)

    def do(tx: Tx) -> Any:
        # Each measuring of one's own passes stands by itself; elsewhere only what changed is kept.
        kept = {} if key == "passes" else actions.entries_of(tx, car_id, key).get(spot, {})
        entries = _typed(of, form, kept)
        return actions.record_readings(
            tx, car_id, key, {spot: entries}, at=now(request), day=_day(form, request), km=_km(form)
        )

    target = _action(car_id, key, spot)
    if key == "corner" and form.raw.get("then") == "next" and spot != CORNERS[-1]:
        target = f"/cars/{car_id}/wear/corner/{slug(CORNERS[CORNERS.index(spot) + 1])}"
    return submit(
        request,
        do,
        then=target,
        again=lambda tx, error: _spot_page(request, tx, car_id, key, spot_slug, form, error),
    )


def _paint_page(
    request: Request, tx: Tx, car_id: int, form: Form | None = None, error: DriveoutError | None = None
) -> Response:
    judged = actions.car_report(tx, car_id, now(request).date())
    kept = actions.entries_of(tx, car_id, "paint")
    return page(
        request,
        "wear/paint.html",
        tx=tx,
        car_id=car_id,
        chapter="wear",
        form=form,
        error=error,
        panels=[(spot, slug(spot), kept.get(spot, {})) for spot in topic("paint").spots],
        verdicts=judged.of("paint"),
        drawing=DRAWINGS["paint"],
        first=not kept,
        outline=_outline(tx, car_id, judged),
        sources=_sources(judged.of("paint")),
    )


def _outline(tx: Tx, car_id: int, judged: Any) -> dict[str, Any]:
    """The outline with each panel's median film and its mark."""
    panels = []
    kept = actions.entries_of(tx, car_id, "paint")
    for shape in SHAPES:
        film = read_entries("paint", shape.panel, kept.get(shape.panel, {})).get("film")
        verdicts = judged.of("paint", shape.panel)
        outcome = min(verdicts, key=_order).outcome if verdicts else ""
        value = f"{median(film):.0f}" if film else ""
        said = (
            f"{shape.panel}: {value + ' µm' if value else 'not measured'}{', ' + outcome if outcome else ''}"
        )
        panels.append(
            {
                "shape": shape,
                "value": value,
                "mark": mark(outcome) if outcome else "",
                "hatched": bool(outcome) and outcome != HOLDS,
                "link": f"/cars/{car_id}/wear/paint/{slug(shape.panel)}",
                "said": said,
            }
        )
    return {"panels": panels, "glass": GLASS, "width": WIDTH, "height": HEIGHT}


def _limits_page(
    request: Request, tx: Tx, car_id: int, form: Form | None = None, error: DriveoutError | None = None
) -> Response:
    rows: dict[str, list[Limit]] = {}
    for limit in shipped_limits():
        rows.setdefault(limit.quantity, []).append(limit)
    return page(
        request,
        "wear/limits.html",
        tx=tx,
        car_id=car_id,
        chapter="wear",
        form=form,
        error=error,
        kept=actions.kept_limits(tx, car_id),
        quantities=list(QUANTITIES.items()),
        names=QUANTITIES,
        shipped=rows,
        sources={key: source.title for key, source in shelf().items()},
    )


@api.post("/wear")
def judge_readings(
    request: Request,
    case: Annotated[
        dict[str, Any],
        Body(
            examples=[
                {
                    "schema": "driveout-limits/1",
                    "car": {"on": "2026-05-04", "made_year": 2013},
                    "limits": [
                        {"quantity": "lining_mm", "least": "2.0 mm", "origin": "workshop manual, page 12"}
                    ],
                    "readings": [
                        {"topic": "corner", "spot": "front left", "pad_inner": "4/32", "pad_outer": "4 mm"}
                    ],
                }
            ]
        ),
    ],
) -> dict[str, Any]:
    """Judge readings by one's own limits and the shipped ones (file ``driveout-limits/1`` as JSON)."""
    import json

    return judge_file(json.dumps(case), "request", now(request).date()).as_dict()
