"""The outlook strip, the page that opens it, and the person's rules."""

from __future__ import annotations

import math
from dataclasses import asdict
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Connection

from driveout.cars.actions import get_car
from driveout.errors import BadEntry, DriveoutError
from driveout.outlook import actions
from driveout.outlook.actions import strip
from driveout.outlook.case_file import case_from_file, case_result
from driveout.outlook.must_be import GOALS
from driveout.outlook.records import Point
from driveout.outlook.shown import endings_as_data
from driveout.outlook.strip import NARROW, WIDE, StripBand, strip_words, trail_svg
from driveout.rules import CEILING_RULES, ORIGIN, Rules, default_rules, rules_as_data, rules_from
from driveout.rules import actions as rules_actions
from driveout.uncertain import CONVENTION
from driveout.units import Money
from driveout.web import Chapter, Form, PostedForm, now, page, reading, submit
from driveout.web.taste import day_text

__all__ = ["CHAPTERS", "api", "router", "strip"]

router = APIRouter()
api = APIRouter(prefix="/api")
CHAPTERS = (Chapter("outlook", "Outlook", order=15), Chapter("stop", "Go on or stop", order=16))
MOST_ROWS_DRAWN = 12
MOST_LINES = 14

#: fields of the rules page: name, label, unit, kind (money, money range, range, number, share)
FIELDS: tuple[tuple[str, str, str, str], ...] = (
    ("wage_per_hour", "What an own hour must bring", "per hour", "money"),
    ("loss_chance", "Chance of a loss that you accept", "0 to 1", "number"),
    ("tail_share", "Share of worst cases to look at", "0 to 1", "number"),
    ("tail_loss", "Loss you can bear in these, on average", "", "money"),
    ("risk_tolerance", "Risk tolerance: the sum you would just stake to win it or lose half", "", "money"),
    ("hours_per_week", "Own hours a week for this work", "h", "number"),
    ("holding_per_day", "What a day of having a car costs", "per day", "money"),
    ("capital_share_per_year", "What tied-up money costs a year", "share", "number"),
    ("purchase_tax_share", "Tax or premium on the price paid", "share", "number"),
    ("sale_fee_share", "Share of the sale price that fees take", "share", "number"),
    ("purchase_costs", "Papers, checks, registration", "", "money range"),
    ("fetch_costs", "Bringing a car home", "", "money range"),
    ("trip_per_km", "A kilometre of driving", "per km", "money"),
    ("sale_costs", "Preparing and selling", "", "money range"),
    ("outside_hours", "Hours that are no spanner work", "h", "range"),
    ("idle_days", "Days before the work and until sold", "days", "range"),
    ("scrap", "What a car brings as scrap", "", "money"),
    ("part_out", "What a car brings in parts", "", "money"),
    ("part_out_hours", "Hours to part a car out", "h", "number"),
    (
        "as_it_stands_share",
        "Share of the clean value unmended, faults said (0: not a way out)",
        "share",
        "number",
    ),
    ("extra_fault_costs", "Set by for what nobody has thought of", "", "money range"),
)


@router.get("/cars/{car_id}/outlook")
def show(request: Request, car_id: int) -> Response:
    """How a car's profit, hours and days came about, line by line."""
    with reading(request) as tx:
        return _outlook_page(request, tx, car_id)


def _outlook_page(
    request: Request,
    tx: Connection,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    points = actions.trail(tx, car_id)
    newest = actions.newest_point(tx, car_id)
    drawn = [(p, b) for p in points if (b := actions.band_of_point(p)) is not None]
    shown = drawn[-MOST_ROWS_DRAWN:]
    bands = [(p.reason, b) for p, b in shown]
    currency = newest.currency if newest else "USD"
    lines = _lines(newest, currency)
    return page(
        request,
        "outlook/outlook.html",
        tx=tx,
        car_id=car_id,
        chapter="outlook",
        form=form,
        error=error,
        newest=newest,
        can_wait=get_car(tx, car_id).stage not in actions.FINISHED,
        words=strip_words(shown[-1][1]) if shown and newest and newest.is_known else "",
        whole=newest.breakdown if newest else {},
        trail_narrow=trail_svg(bands, f"trail-{car_id}-n", NARROW),
        trail_wide=trail_svg(bands, f"trail-{car_id}-w", WIDE),
        points=[
            (after, actions.moved(before, after) if after.is_known else _point_words(after))
            for before, after in reversed(list(zip([None, *points], points, strict=False)))
        ],
        moves=_moves(points),
        rule_words=CEILING_RULES,
        lines=lines[:MOST_LINES],
        smaller=[[line["label"], line["chance_text"], line["money_text"]] for line in lines[MOST_LINES:]],
        money=lambda minor: Money(round(minor), currency).text(),
    )


@router.post("/cars/{car_id}/outlook/delay")
def delay(request: Request, car_id: int, form: PostedForm) -> Response:
    """Note that work cannot go on for some days."""
    return submit(
        request,
        lambda tx: actions.note_delay(
            tx,
            car_id,
            float(form.decimal("days", "days", least=0.0, most=365.0)),
            form.text("why", longest=200),
            at=now(request),
        ),
        then=f"/cars/{car_id}/outlook",
        again=lambda tx, error: _outlook_page(request, tx, car_id, form, error),
    )


@router.get("/cars/{car_id}/outlook/must")
def must_be(request: Request, car_id: int) -> Response:
    """What would have to be true for the car to pay."""
    with reading(request) as tx:
        rows: dict[str, list[list[str]]] = {}
        missing = ""
        try:
            for one in actions.must_be_true(tx, car_id):
                rows.setdefault(one.goal, []).append([one.label, one.words])
        except DriveoutError as trouble:
            missing = trouble.message
        return page(
            request,
            "outlook/must.html",
            tx=tx,
            car_id=car_id,
            chapter="outlook",
            goals=[(GOALS[goal], found) for goal, found in rows.items()],
            missing=missing,
        )


@router.get("/cars/{car_id}/stop")
def show_stop(request: Request, car_id: int) -> Response:
    """Going on with the car beside every way of giving up."""
    with reading(request) as tx:
        return _stop_page(request, tx, car_id)


@router.post("/cars/{car_id}/stop")
def write_ways(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take over the person's figures for the ways out of this car."""

    def write(tx: Connection) -> object:
        car = get_car(tx, car_id)

        def money(name: str) -> float | None:
            given = form.text(name, required=False)
            return (
                float(form.money(name, car.currency, least=Money(0, car.currency)).minor) if given else None
            )

        def number(name: str, unit: str) -> float | None:
            given = form.text(name, required=False)
            return float(form.decimal(name, unit, least=0.0, most=1e5)) if given else None

        ways = actions.OwnWays(
            money("as_it_stands"),
            money("part_out"),
            number("part_out_hours", "h"),
            number("weight_kg", "kg"),
            money("scrap_per_kg"),
            form.text("origin", required=False, longest=200),
        )
        return actions.set_own_ways(tx, car_id, ways, version=form.whole("version", 0), at=now(request))

    return submit(
        request,
        write,
        then=f"/cars/{car_id}/stop",
        again=lambda tx, error: _stop_page(request, tx, car_id, form, error),
    )


def _stop_page(
    request: Request,
    tx: Connection,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    car = get_car(tx, car_id)
    typed = actions.own_ways(car)
    compared, missing = None, ""
    try:
        compared = actions.endings(tx, car_id)
    except DriveoutError as trouble:
        missing = trouble.message

    def money(minor: float) -> str:
        return Money(round(minor), car.currency).text()

    bands, rows = [], []
    for one in compared.choices if compared else ():
        low, middle, high = (round(value) for value in (one.money.low, one.money.middle, one.money.high))
        bands.append((one.label, StripBand(low, middle, high, 0, car.currency, one.loss_chance)))
        rows.append(
            [
                one.label[:1].upper() + one.label[1:] + (f" ({one.refused})" if one.refused else ""),
                f"{money(low)} to {money(high)}",
                money(one.money.mean),
                f"{one.hours.mean:.0f}",
                "" if math.isnan(one.per_hour) else money(one.per_hour),
                money(one.worth),
                f"{one.days:.0f}",
            ]
        )

    def shown(value: float | None) -> str:
        return "" if value is None else str(Money(round(value), car.currency).major)

    return page(
        request,
        "outlook/stop.html",
        tx=tx,
        car_id=car_id,
        chapter="stop",
        form=form,
        error=error,
        missing=missing,
        compared=compared,
        rows=rows,
        origins=[[one.label, one.origin] for one in compared.choices] if compared else [],
        narrow=trail_svg(bands, f"stop-{car_id}-n", NARROW, STILL_TO_COME),
        wide=trail_svg(bands, f"stop-{car_id}-w", WIDE, STILL_TO_COME),
        typed={
            "as_it_stands": shown(typed.as_it_stands),
            "part_out": shown(typed.part_out),
            "part_out_hours": "" if typed.part_out_hours is None else f"{typed.part_out_hours:g}",
            "weight_kg": "" if typed.weight_kg is None else f"{typed.weight_kg:g}",
            "scrap_per_kg": shown(typed.scrap_per_kg),
            "origin": typed.origin,
        },
        version=car.version,
        currency=car.currency,
    )


STILL_TO_COME = "Money still to come by each choice"


@api.get("/cars/{car_id}/stop")
def stop_data(request: Request, car_id: int) -> dict[str, Any]:
    """Going on, selling as it stands, parting out, scrapping: money and hours still to come."""
    with reading(request) as tx:
        return endings_as_data(actions.endings(tx, car_id))


@api.get("/cars/{car_id}/must")
def must_data(request: Request, car_id: int) -> dict[str, Any]:
    """What would have to be true for nothing to be lost, and for the wage to be reached."""
    with reading(request) as tx:
        return {"car": car_id, "needed": [asdict(one) for one in actions.must_be_true(tx, car_id)]}


@router.get("/rules")
def show_rules(request: Request, currency: str = "USD") -> Response:
    """Your rules: wage, risk and usual costs; they set the walk-away price."""
    with reading(request) as tx:
        return _rules_page(request, tx, currency.upper()[:3])


@router.post("/rules")
def write_rules(request: Request, form: PostedForm) -> Response:
    """Take over changed rules."""
    currency = form.text("currency").upper()

    def write(tx: Connection) -> object:
        version = form.whole("version", 0) or 0
        return rules_actions.change_rules(
            tx, _rules_from_form(form, currency), version=version, at=now(request)
        )

    return submit(
        request,
        write,
        then=f"/rules?currency={currency}",
        again=lambda tx, error: _rules_page(request, tx, currency, form, error),
    )


@api.get("/cars/{car_id}/outlook")
def outlook_data(request: Request, car_id: int) -> dict[str, Any]:
    """Outlook of a car as last renewed, with its walk-away price and trail."""
    with reading(request) as tx:
        points = actions.trail(tx, car_id)
        newest = actions.newest_point(tx, car_id)
        return {
            "car": car_id,
            "missing": newest.missing if newest else "nothing is known yet",
            "walk_away_minor": newest.ceiling_minor if newest else None,
            "binding_rule": newest.binding if newest else "",
            "outlook": newest.breakdown if newest else {},
            "trail": [
                {
                    "at": p.at.isoformat(),
                    "reason": p.reason,
                    "profit_p10_minor": p.profit_p10_minor,
                    "profit_p50_minor": p.profit_p50_minor,
                    "profit_p90_minor": p.profit_p90_minor,
                    "walk_away_minor": p.ceiling_minor,
                    "hours_p50": p.hours_p50,
                    "finish": [p.finish_p10, p.finish_p50, p.finish_p80, p.finish_p90],
                    "sale": [p.sale_p10, p.sale_p50, p.sale_p90],
                }
                for p in points
            ],
        }


@api.get("/rules")
def rules_data(request: Request, currency: str = "USD") -> dict[str, Any]:
    """The person's rules in one currency, money in major units."""
    with reading(request) as tx:
        kept = rules_actions.rules_of(tx, currency)
        return {"version": kept.version, "rules": rules_as_data(kept.rules), "origin": ORIGIN}


@api.post("/outlook")
async def own_case(request: Request) -> dict[str, Any]:
    """Outlook and walk-away price of a car case of one's own (``driveout-car-case/1``, JSON or YAML)."""
    body = await request.body()
    return case_result(case_from_file(body, "request"))


def _rules_page(
    request: Request,
    tx: Connection,
    currency: str,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    kept = rules_actions.rules_of(tx, currency)
    return page(
        request,
        "outlook/rules.html",
        form=form,
        error=error,
        currency=currency,
        version=kept.version,
        values=rules_as_data(kept.rules),
        chosen=kept.rules.chosen,
        fields=FIELDS,
        rule_words=CEILING_RULES,
        origin=ORIGIN,
        convention=CONVENTION,
        is_default=kept.version == 0,
    )


def _rules_from_form(form: Form, currency: str) -> Rules:
    data: dict[str, Any] = {
        "currency": currency,
        "chosen": [r for r in CEILING_RULES if form.ticked(f"rule_{r}")],
    }
    for name, _, _, kind in FIELDS:
        if "range" in kind:
            points = []
            for end in ("low", "likely", "high"):
                points.append(float(form.decimal(f"{name}_{end}", least=0.0)))
            data[name] = points
        else:
            data[name] = float(form.decimal(name, least=0.0))
    try:
        return rules_from(data, default_rules(currency))
    except BadEntry as trouble:
        if trouble.field in data and isinstance(data[trouble.field], list):
            trouble.field = f"{trouble.field}_low"
        raise


def _moves(points: list[Point]) -> list[list[str]]:
    """The trail as a table, newest first: where the figures stood after each fact."""
    rows = []
    for after in points:
        band = actions.band_of_point(after)
        rows.append(
            [
                after.reason if len(after.reason) <= SHORT else after.reason[: SHORT - 1].rstrip() + "…",
                day_text(after.at),
                "none" if band is None else f"{band.text(band.low)} to {band.text(band.high)}",
                "none" if band is None else band.text(band.middle),
                "" if after.hours_p50 is None else f"{after.hours_p50:.0f}",
                _day(after.finish_p50),
                _day(after.sale_p50),
            ]
        )
    return rows[::-1]


def _day(iso: str | None) -> str:
    return day_text(date.fromisoformat(iso)) if iso else ""


#: letters of a fact that stand in a narrow column
SHORT = 44


def _point_words(point: Point) -> str:
    band = actions.band_of_point(point)
    return strip_words(band) if band is not None else f"No outlook: {point.missing}"


def _lines(point: Point | None, currency: str) -> list[dict[str, Any]]:
    if point is None:
        return []
    found = []
    for line in point.breakdown.get("lines", []):
        if line["kind"] == "fault" and (line["chance"] or 0.0) < 0.005:
            continue
        chance = "" if line["chance"] is None else f"{100 * line['chance']:.0f} %"
        found.append(
            {
                **line,
                "chance_text": chance,
                "money_text": Money(line["profit_mean_minor"], currency).text(),
                "how": _line_words(line, currency),
            }
        )
    return sorted(found, key=lambda line: -abs(line["profit_mean_minor"]))


def _line_words(line: dict[str, Any], currency: str) -> str:
    money = Money(abs(line["profit_mean_minor"]), currency).text()
    spread = f"It makes up {100 * line['variance_share']:.0f} % of how far the profit may vary."
    chance = line["chance"] or 0.0
    if line["kind"] == "sale":
        return f"Mean of a lognormal sale price with your low and high as P10 and P90, fees off: {money}. {spread}"
    if line["kind"] == "price":
        return f"Price times one plus tax and the cost of money tied up: {money}."
    if line["kind"] == "fault":
        alone = (
            Money(round(abs(line["profit_mean_minor"]) / chance), currency).text() if chance > 0 else money
        )
        return f"Chance {100 * chance:.1f} % times {alone} on average when it is there = {money}. {spread}"
    if line["kind"] == "shared":
        return f"Work shared by several faults, counted once if any of them is there: {money} on average. {spread}"
    if line["kind"] == "way out":
        return f"Taking the better of mending and letting go adds {money} on average."
    return f"Comes whatever is wrong; its own hours take days that cost to hold the car: {money}. {spread}"
