"""Writing down an advert, and the chapter Advert: buy or walk, the words, the traps, the facts."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field
from sqlalchemy import Connection

from driveout.cars.actions import get_car
from driveout.errors import BadEntry, DriveoutError
from driveout.faults import read_network
from driveout.files import yaml_document
from driveout.hunt import actions
from driveout.hunt.advert import (
    DRIVES,
    GEARBOXES,
    LONGEST_TEXT,
    Advert,
    MoneyRange,
    Seller,
    Symptom,
    unusual,
)
from driveout.hunt.advert_file import SCHEMA, advert_data, advert_from_document
from driveout.hunt.marked import Stretch, stretches
from driveout.hunt.plain_text import MOST_PASTED
from driveout.hunt.reader import ReadAdvert, item_from_data, read_advert
from driveout.hunt.reading import value_text
from driveout.hunt.setting import Setting
from driveout.hunt.visits import LEAST_FOR_WAGE, MOST_MINUTES, USUAL_MINUTES, visits_as_data
from driveout.hunt.weigh import SPEED_KM_PER_HOUR, VIEWING_HOURS, VIEWING_SHOWS, weigh, weighing_as_data
from driveout.hunt.words import word_lists
from driveout.outlook import rules_from
from driveout.outlook.actions import newest_point
from driveout.rules.actions import rules_of
from driveout.sources import cite
from driveout.units import Money, km_from_miles, read_number
from driveout.web import Chapter, Form, PostedForm, Undo, now, page, reading, submit
from driveout.web.frame import status_of

router = APIRouter()
api = APIRouter(prefix="/api")
CHAPTERS = (Chapter("advert", "Advert", order=10),)

TITLE_WORDS = (
    ("unknown", "not said"),
    ("clean", "clean"),
    ("rebuilt", "rebuilt"),
    ("salvage", "salvage"),
    ("none", "no title"),
)
RUNS_WORDS = (
    ("", "not said"),
    ("runner", "runs and drives"),
    ("sick", "starts, but has a serious running fault"),
    ("dead", "does not run"),
)
GEARBOX_WORDS = (
    ("", "not said"),
    ("manual", "manual"),
    ("auto", "automatic"),
    ("cvt", "CVT"),
    ("dct", "dual clutch"),
)
DRIVE_WORDS = (("", "not said"), ("fwd", "front"), ("rwd", "rear"), ("awd", "all wheels"))
TURBO_WORDS = (("", "not said"), ("yes", "yes"), ("no", "no"))
CURRENCIES = (
    "USD",
    "EUR",
    "GBP",
    "CAD",
    "AUD",
    "NZD",
    "CHF",
    "SEK",
    "NOK",
    "DKK",
    "PLN",
    "CZK",
    "JPY",
    "INR",
    "BRL",
)
RULE_WORDS = {
    "wage": "Wage for your hours",
    "loss": "Chance of a loss",
    "tail": "Worst cases",
    "certain": "Worth the risk",
}
WHAT_WORDS = {
    "asking": "Asking price",
    "older price": "Older price",
    "made_year": "Year",
    "mileage_km": "Distance on the clock",
    "title": "Title",
    "runs": "Runs",
    "gearbox": "Gearbox",
    "drive": "Driven wheels",
    "is_turbo": "Turbo",
    "symptom": "Symptom",
    "repaired": "Said to be mended",
    "trap": "Warning",
    "extra": "Extra",
    "bargaining": "For the talk about price",
    "seller.is_owner": "Seller is the owner",
    "seller.has_title_in_hand": "Seller has the title in hand",
    "seller.is_trade": "Seller is a dealer",
    "place": "Place",
    "name": "Name",
}


@dataclass(frozen=True)
class ItemRow:
    """One thing read, as a page shows it."""

    number: int
    what: str
    label: str
    value: str
    words: str
    confidence: str
    note: str
    others: tuple[str, ...]
    taken_out: bool
    can_take_out: bool


@router.get("/adverts/new")
def new_advert(request: Request) -> Response:
    """A new advert: paste its words, or type the facts."""
    with reading(request) as tx:
        return _new_page(request, tx)


@router.post("/adverts/read")
def read_pasted(request: Request, form: PostedForm) -> Response:
    """Read the pasted text and show what was read, before anything is kept."""
    with reading(request) as tx:
        try:
            text = form.text("text", longest=MOST_PASTED)
            found = actions.reading_of(
                tx, form.raw["text"], form.choice("currency", CURRENCIES), now(request)
            )
            if not text.strip():
                raise BadEntry("Nothing was pasted. Copy the advert's words in here.", field="text")
            return _checked_page(request, tx, found, form.raw["text"])
        except DriveoutError as error:
            return _new_page(request, tx, form, error, status=status_of(error))


@router.post("/adverts")
def save_advert(request: Request, form: PostedForm) -> Response:
    """Keep the advert as the person left it."""
    original = form.raw.get("text", "")

    def again(tx: Connection, error: DriveoutError) -> Response:
        if original.strip():
            found = actions.reading_of(tx, original, _currency(form), now(request))
            return _checked_page(request, tx, found, original, form, error)
        return _new_page(request, tx, form, error)

    return submit(
        request,
        lambda tx: _keep(request, tx, form, original),
        then=lambda car: f"/cars/{car.id}/advert",
        again=again,
    )


def _keep(request: Request, tx: Connection, form: Form, original: str) -> Any:
    advert = _advert_from(form, now(request).date())
    if not original.strip():
        if not advert.name:
            raise BadEntry("The car needs a name, for example make, model and town.", field="name", value="")
        return actions.add_advert(tx, advert, at=now(request))
    found = actions.reading_of(tx, original, advert.currency, now(request))
    advert = replace(advert, text=found.text)
    items = [_with_corrections(item, advert) for item in found.as_dict()["read"]]
    return actions.add_advert(tx, advert, at=now(request), original=original, shown=found.text, items=items)


def _with_corrections(item: dict[str, Any], advert: Advert) -> dict[str, Any]:
    """Mark an item as taken out when the person left something else in its place."""
    what, value = item["what"], item["value"]
    if what == "symptom":
        stays = any(s.finding == value and s.said == item["said"] for s in advert.symptoms)
    elif what in ("trap", "extra"):
        stays = value in (advert.traps if what == "trap" else advert.extras)
    elif what.startswith("seller."):
        stays = getattr(advert.seller, what.removeprefix("seller.")) == value
    elif what in (
        "asking",
        "made_year",
        "mileage_km",
        "title",
        "runs",
        "gearbox",
        "drive",
        "is_turbo",
        "place",
        "name",
    ):
        stays = getattr(advert, what) == item_from_data(item, advert.currency)
    else:
        stays = True
    return item if stays else item | {"taken_out": True}


@router.get("/adverts/order")
def which_first(request: Request, minutes: str = "") -> Response:
    """Which car to go and see first, and which fit into the day."""
    with reading(request) as tx:
        return _order_page(request, tx, minutes)


@router.post("/adverts/order/wage")
def take_wage(request: Request, form: PostedForm) -> Response:
    """Take what an own hour brings as the wage of My rules, on the person's tap."""
    currency = form.text("currency", longest=3)
    return submit(
        request,
        lambda tx: actions.take_wage(
            tx,
            form.money("wage", currency),
            version=form.whole("version", least=0) or 0,
            at=now(request),
        ),
        then=f"/rules?currency={currency}",
        again=lambda tx, error: _order_page(request, tx, "", error),
    )


@router.get("/cars/{car_id}/advert")
def show(request: Request, car_id: int) -> Response:
    """Buy or walk: the walk-away price, the probable faults, the words of the advert and its facts."""
    with reading(request) as tx:
        return _advert_page(request, tx, car_id)


@router.get("/cars/{car_id}/advert/offer")
def offer(request: Request, car_id: int) -> Response:
    """What to offer, and what moves the walk-away price; worked out when asked for."""
    with reading(request) as tx:
        return _offer_page(request, tx, car_id)


@router.post("/cars/{car_id}/advert/facts")
def change(request: Request, car_id: int, form: PostedForm) -> Response:
    """Correct the facts of an advert."""

    def do(tx: Connection) -> Any:
        car = get_car(tx, car_id)
        was = actions.advert_of(tx, car_id)
        advert = _advert_from(form, now(request).date(), currency=car.currency)
        kept: dict[str, Any] = {
            "text": was.text,
            "seen_on": was.seen_on,
            "symptoms": was.symptoms,
            "traps": was.traps,
        }
        return actions.change_advert(
            tx,
            car_id,
            replace(advert, **kept, seller=replace(advert.seller, is_trade=was.seller.is_trade)),
            at=now(request),
            version=form.whole("version", least=1),
        )

    return submit(
        request,
        do,
        then=f"/cars/{car_id}/advert",
        again=lambda tx, error: _advert_page(request, tx, car_id, form, error),
    )


@router.post("/cars/{car_id}/advert/item")
def correct(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take out one thing that was read, or take another of its readings."""
    return submit(
        request,
        lambda tx: actions.correct_item(
            tx,
            car_id,
            form.whole("item", least=0) or 0,
            version=form.whole("version", least=1) or 0,
            at=now(request),
            choose=form.whole("choose", least=0, required=False),
        ),
        then=f"/cars/{car_id}/advert",
        again=lambda tx, error: _advert_page(request, tx, car_id, form, error),
    )


@router.post("/cars/{car_id}/advert/buy")
def buy(request: Request, car_id: int, form: PostedForm) -> Response:
    """Buy the car: freeze the estimate and book the price."""
    return submit(
        request,
        lambda tx: actions.buy(
            tx,
            car_id,
            form.money("price", get_car(tx, car_id).currency),
            at=now(request),
            day=form.day("day"),
            token=getattr(request.state, "once", ""),
        ),
        then=f"/cars/{car_id}/repairs",
        again=lambda tx, error: _advert_page(request, tx, car_id, form, error),
    )


@router.post("/cars/{car_id}/advert/let-go")
def let_go(request: Request, car_id: int, form: PostedForm) -> Response:
    """Let the advert go, with the reason."""
    return submit(
        request,
        lambda tx: actions.let_go(tx, car_id, form.text("reason"), at=now(request)),
        then="/",
        again=lambda tx, error: _advert_page(request, tx, car_id, form, error),
        undo=lambda _: Undo(
            f"/cars/{car_id}/advert/again", {}, "Let go. The advert is kept under Finished cars."
        ),
    )


@router.post("/cars/{car_id}/advert/again")
def take_up_again(request: Request, car_id: int, form: PostedForm) -> Response:
    """Look at an advert again that was let go."""
    return submit(
        request,
        lambda tx: actions.take_up_again(tx, car_id, at=now(request)),
        then=f"/cars/{car_id}/advert",
        again=lambda tx, error: _advert_page(request, tx, car_id, form, error),
    )


# ---------------------------------------------------------------- JSON


class TextToRead(BaseModel):
    """A text to be read."""

    text: str = Field(max_length=MOST_PASTED)
    currency: str = "USD"


class ToWeigh(BaseModel):
    """An advert to be weighed: facts with the keys of ``driveout-advert/1``, or a text."""

    advert: dict[str, Any] | None = None
    text: str | None = Field(default=None, max_length=MOST_PASTED)
    clean_value: list[float] | None = Field(default=None, min_length=1, max_length=3)
    rules: dict[str, Any] | None = None
    network: dict[str, Any] | None = None


@api.post("/read-advert")
def read_advert_json(request: Request, body: Annotated[TextToRead, Body()]) -> dict[str, Any]:
    """Show what is read from a text, with the words that led to it."""
    with reading(request) as tx:
        return actions.reading_of(tx, body.text, body.currency, now(request)).as_dict()


@api.get("/order")
def order_json(
    request: Request, minutes: Annotated[float, Query(ge=0, le=MOST_MINUTES)] = USUAL_MINUTES
) -> dict[str, Any]:
    """Say which of the kept adverts to go and see first, and which fit into the minutes of a day."""
    with reading(request) as tx:
        return visits_as_data(actions.order_of_viewings(tx, minutes=minutes))


@api.post("/weigh")
def weigh_json(request: Request, body: Annotated[ToWeigh, Body()]) -> dict[str, Any]:
    """Weigh an advert without keeping it: probable faults, outlook, walk-away price and why."""
    today = now(request).date()
    with reading(request) as tx:
        currency = str((body.rules or {}).get("currency") or (body.advert or {}).get("currency") or "USD")
        setting = actions.setting_of(tx, currency)
    if body.rules is not None:
        setting = replace(setting, rules=rules_from(body.rules, setting.rules))
    if body.network is not None:
        setting = replace(setting, network=read_network(json.dumps(body.network), "network"))
    advert = _advert_to_weigh(body, setting, today)
    weighing = weigh(
        advert, setting.rules, setting.network_of(advert), setting.repairs_of(advert), facts=setting.facts
    )
    return weighing_as_data(weighing) | {"advert": advert_data(advert)}


def _advert_to_weigh(body: ToWeigh, setting: Setting, today: date) -> Advert:
    if (body.advert is None) == (body.text is None):
        raise BadEntry(
            "Give either advert (facts) or text (words to be read).", field="advert", allowed="one of both"
        )
    if body.advert is not None:
        document = yaml_document(json.dumps({"schema": SCHEMA, **body.advert}), "advert")
        known = (
            {finding for finding, _ in setting.phrases}
            if setting.network is None
            else set(setting.network.finding)
        )
        advert = advert_from_document(document, today=today, known_findings=known)
    else:
        advert = read_advert(
            body.text or "", phrases=setting.phrases, today_year=today.year, currency=setting.rules.currency
        ).advert(seen_on=today)
    if body.clean_value is not None:
        if len(body.clean_value) == 2:
            raise BadEntry(
                "clean_value needs one or three amounts.", field="clean_value", value=body.clean_value
            )
        points = (body.clean_value * 3)[:3]
        advert = replace(advert, clean_value=MoneyRange(*(Money.of(str(p), advert.currency) for p in points)))
    return advert


# ---------------------------------------------------------------- forms and pages


def _currency(form: Form) -> str:
    given = form.raw.get("currency", "")
    return given if given in CURRENCIES else "USD"


def _advert_from(form: Form, today: date, currency: str = "") -> Advert:
    """The advert of the facts form; every refusal names its field."""
    currency = currency or form.choice("currency", CURRENCIES)
    asking = form.money("asking", currency) if form.raw.get("asking", "").strip() else None
    figure = form.number("mileage", least=0, required=False)
    if figure is not None:
        unit = form.choice("mileage_unit", ("km", "mi"))
        figure = km_from_miles(figure) if unit == "mi" else figure
    runs = form.raw.get("runs", "")
    gearbox, drive = form.raw.get("gearbox", ""), form.raw.get("drive", "")
    turbo = {"yes": True, "no": False}.get(form.raw.get("turbo", ""))
    facts: dict[str, Any] = {
        "runs": form.choice("runs", [w for w, _ in RUNS_WORDS if w]) if runs else None,
        "gearbox": form.choice("gearbox", GEARBOXES) if gearbox else None,
        "drive": form.choice("drive", DRIVES) if drive else None,
    }
    return Advert(
        name=form.text("name", required=False, longest=200),
        currency=currency,
        asking=asking,
        made_year=form.whole("made_year", least=1886, most=today.year + 1, required=False),
        mileage_km=None if figure is None else round(figure),
        title=form.choice("title", [w for w, _ in TITLE_WORDS]),  # type: ignore[arg-type]
        is_turbo=turbo,
        clean_value=_value_from(form, currency),
        symptoms=tuple(_symptom(entry) for entry in form.many("symptom")),
        traps=tuple(t for t in form.many("trap") if t in word_lists().traps),
        extras=tuple(e.strip()[:100] for e in form.raw.get("extras", "").split(",") if e.strip())[:40],
        seller=Seller(
            name=form.text("seller_name", required=False, longest=200),
            is_owner=_yes_no(form, "seller_is_owner"),
            has_title_in_hand=_yes_no(form, "seller_has_title"),
            is_trade=_yes_no(form, "seller_is_trade"),
        ),
        place=form.text("place", required=False, longest=200),
        distance_km=form.number("distance_km", "km", least=0, required=False),
        seen_on=today,
        **facts,
    )


def _yes_no(form: Form, name: str) -> bool | None:
    return {"yes": True, "no": False}.get(form.raw.get(name, ""))


def _symptom(entry: str) -> Symptom:
    """``finding:said:hedged:words`` as the form carries it."""
    finding, _, rest = entry.partition(":")
    said, _, rest = rest.partition(":")
    hedged, _, words = rest.partition(":")
    return Symptom(finding[:80], "no" if said == "no" else "yes", hedged == "hedged", words[:400])


def _value_from(form: Form, currency: str) -> MoneyRange | None:
    names = ("value_low", "value_likely", "value_high")
    given = [name for name in names if form.raw.get(name, "").strip()]
    if not given:
        return None
    if given == ["value_likely"]:
        likely = form.money("value_likely", currency)
        return MoneyRange(likely, likely, likely)
    low, likely, high = (form.money(name, currency) for name in names)
    if not low <= likely <= high:
        raise BadEntry(
            f"{low.text()}, {likely.text()}, {high.text()} do not rise from low over likely to high.",
            field="value_likely",
            allowed="low, likely and high in rising order",
        )
    return MoneyRange(low, likely, high)


def _new_page(
    request: Request,
    tx: Connection,
    form: Form | None = None,
    error: DriveoutError | None = None,
    status: int = 200,
) -> Response:
    return page(
        request,
        "hunt/new.html",
        tx=tx,
        form=form,
        error=error,
        status=status,
        words=_choices(),
        values=_values(Advert()),
        symptom_rows=_every_symptom(tx),
        longest=LONGEST_TEXT,
    )


def _order_page(request: Request, tx: Connection, typed: str, error: DriveoutError | None = None) -> Response:
    try:
        order = actions.order_of_viewings(tx, minutes=_minutes(typed))
    except BadEntry as refused:
        error, order = refused, actions.order_of_viewings(tx, minutes=USUAL_MINUTES)
    return page(
        request,
        "hunt/order.html",
        tx=tx,
        error=error,
        status=200 if error is None else status_of(error),
        order=order,
        typed=typed or f"{USUAL_MINUTES}",
        going=[v for v in order.visits if v.is_worth_it],
        staying=[v for v in order.visits if not v.is_worth_it],
        rules_version=rules_of(tx, order.currency).version,
        least_for_wage=LEAST_FOR_WAGE,
        viewing_hours=VIEWING_HOURS,
        speed=SPEED_KM_PER_HOUR,
        shows=round(100 * VIEWING_SHOWS),
        sources=[cite(key) for key in ("weitzman-1979", "dinkelbach-1967")],
    )


def _minutes(typed: str) -> float:
    if not typed.strip():
        return USUAL_MINUTES
    try:
        return float(read_number(typed[:40]))
    except BadEntry as error:
        raise BadEntry(
            error.message, field="minutes", value=typed[:40], allowed=f"0 to {MOST_MINUTES} min"
        ) from error


def _checked_page(
    request: Request,
    tx: Connection,
    found: ReadAdvert,
    original: str,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    data = found.as_dict()["read"]
    advert = found.advert(seen_on=now(request).date())
    names = actions.pack_names(tx)
    return page(
        request,
        "hunt/checked.html",
        tx=tx,
        form=form,
        error=error,
        original=original,
        lines=stretches(found.text, data),
        rows=_item_rows(names, data, advert.currency),
        questions=[*found.questions, *(q.text for q in unusual(advert, now(request).date()))],
        words=_choices(advert.currency),
        values=_values(advert),
        symptoms=[
            (f"{s.finding}:{s.said}:{'hedged' if s.hedged else ''}:{s.words}", _symptom_label(names, s))
            for s in advert.symptoms
        ],
        traps=[(t, word_lists().traps[t]) for t in advert.traps],
        symptom_rows=_every_symptom(tx),
        ticked=set(form.many("symptom")) if form is not None else None,
    )


def _symptom_label(names: Mapping[str, str], symptom: Symptom) -> str:
    name = names.get(symptom.finding, symptom.finding)
    said = "seller denies: " if symptom.said == "no" else ""
    hedge = ", only supposed" if symptom.hedged else ""
    return f"{said}{name}{hedge} (“{symptom.words}”)"


def _every_symptom(tx: Connection) -> list[tuple[str, str]]:
    """Findings an advert can name, for ticking by hand."""
    names = actions.pack_names(tx)
    listed = {finding for finding, _ in actions.phrases_in_use(tx)}
    return sorted(((finding, names.get(finding, finding)) for finding in listed), key=lambda row: row[1])


def _choices(currency: str = "USD") -> dict[str, Any]:
    known = CURRENCIES if currency in CURRENCIES else (*CURRENCIES, currency)
    return {
        "titles": TITLE_WORDS,
        "runs": RUNS_WORDS,
        "gearboxes": GEARBOX_WORDS,
        "drives": DRIVE_WORDS,
        "turbo": TURBO_WORDS,
        "currencies": known,
        "yes_no": TURBO_WORDS,
    }


def _values(advert: Advert) -> dict[str, Any]:
    """What stands in each field of the facts form."""

    def plain(money: Money | None) -> str:
        return "" if money is None else f"{money.major:f}"

    def said(fact: bool | None) -> str:
        return "" if fact is None else "yes" if fact else "no"

    value = advert.clean_value
    return {
        "name": advert.name,
        "currency": advert.currency,
        "asking": plain(advert.asking),
        "made_year": advert.made_year or "",
        "mileage": "" if advert.mileage_km is None else advert.mileage_km,
        "title": advert.title,
        "runs": advert.runs or "",
        "gearbox": advert.gearbox or "",
        "drive": advert.drive or "",
        "turbo": said(advert.is_turbo),
        "value_low": plain(value.low if value else None),
        "value_likely": plain(value.likely if value else None),
        "value_high": plain(value.high if value else None),
        "distance_km": "" if advert.distance_km is None else f"{advert.distance_km:g}",
        "place": advert.place,
        "extras": ", ".join(advert.extras),
        "seller_name": advert.seller.name,
        "seller_is_owner": said(advert.seller.is_owner),
        "seller_has_title": said(advert.seller.has_title_in_hand),
        "seller_is_trade": said(advert.seller.is_trade),
    }


def _item_rows(names: Mapping[str, str], items: list[dict[str, Any]], currency: str) -> list[ItemRow]:
    rows = []
    for number, item in enumerate(items, 1):
        if item["what"] == "name":
            continue
        rows.append(
            ItemRow(
                number=number,
                what=item["what"],
                label=WHAT_WORDS.get(item["what"], item["what"]),
                value=_shown_value(item, names, currency),
                words=item["words"],
                confidence=item["confidence"],
                note=item["note"],
                others=tuple(value_text(item_from_data(other, currency)) for other in item["alternatives"]),
                taken_out=bool(item.get("taken_out")),
                can_take_out=item["what"] not in ("bargaining", "older price", "repaired"),
            )
        )
    return rows


def _shown_value(item: Mapping[str, Any], names: Mapping[str, str], currency: str) -> str:
    what, value = item["what"], item["value"]
    if what in ("symptom", "repaired"):
        denied = "seller denies: " if item["said"] == "no" else ""
        return denied + str(names.get(value, value)) + (" (only supposed)" if item["hedged"] else "")
    if what == "trap":
        return word_lists().traps[value].title if value in word_lists().traps else str(value)
    if what == "bargaining":
        return {"firm": "price is firm", "pressed": "wants it gone", "open": "open to offers"}.get(
            value, str(value)
        )
    choices = {"title": TITLE_WORDS, "runs": RUNS_WORDS, "gearbox": GEARBOX_WORDS, "drive": DRIVE_WORDS}
    if what in choices:
        return dict(choices[what]).get(value, str(value))
    said = value_text(item_from_data(item, currency))
    return f"{said} km" if what == "mileage_km" else said


def _advert_page(
    request: Request,
    tx: Connection,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    car = get_car(tx, car_id)
    advert = actions.advert_of(tx, car_id)
    snapshot = actions.words_of(tx, car_id)
    is_open = car.stage in ("advert", "viewing")
    names = actions.pack_names(tx)
    point = newest_point(tx, car_id) if is_open else None
    is_said = point is not None and point.ceiling_minor is not None
    lines: list[list[Stretch]] = stretches(snapshot.shown, snapshot.items) if snapshot else []
    return page(
        request,
        "hunt/advert.html",
        tx=tx,
        car_id=car_id,
        chapter="advert",
        form=form,
        error=error,
        car=car,
        advert=advert,
        is_open=is_open,
        missing=point.missing if point is not None else "",
        answer=_answer(point, advert) if point is not None and is_said else None,
        lesson=actions.lesson_shown(tx, car_id) if is_open else None,
        lines=lines,
        rows=_item_rows(names, snapshot.items, car.currency) if snapshot else [],
        words_version=snapshot.version if snapshot else 0,
        pasted=snapshot.at if snapshot else None,
        checksum=snapshot.sha256 if snapshot else "",
        traps=[word_lists().traps[t] for t in advert.traps if t in word_lists().traps],
        questions=[q.text for q in unusual(advert, now(request).date())],
        symptoms=[_symptom_label(names, s) for s in advert.symptoms],
        words=_choices(car.currency),
        values=_values(advert),
    )


def _answer(point: Any, advert: Advert) -> dict[str, Any]:
    """Buy or walk as the outlook strip has it, in what the page prints; nothing is computed anew."""
    limit = Money(point.ceiling_minor or 0, point.currency)
    lines = point.breakdown.get("lines", [])
    faults = sorted((x for x in lines if x["kind"] == "fault"), key=lambda x: x["profit_mean_minor"])

    def money(minor: float | None) -> str:
        return "–" if minor is None else Money(round(minor), point.currency).text()

    return {
        "headline": _headline(limit, advert.asking),
        "room": None if advert.asking is None else limit - advert.asking,
        "why": _reasons(point, advert, limit, money),
        "missing": point.missing,
        "rules": [
            (
                RULE_WORDS.get(r["rule"], r["rule"]),
                money(r["price_minor"]),
                ("sets the limit" if r["rule"] == point.binding else "yours")
                if r["chosen"]
                else "not chosen",
                r["why"],
            )
            for r in point.breakdown.get("rules", [])
        ],
        "causes": [
            (
                x["label"],
                f"{100 * x['chance']:.0f} %",
                money(-x["profit_mean_minor"]),
                f"{x['hours_mean']:.1f} h",
            )
            for x in faults
            if x["chance"] is not None and x["chance"] >= LEAST_SHOWN
        ][:MOST_SHOWN],
    }


LEAST_SHOWN, MOST_SHOWN = 0.02, 12


def _headline(limit: Money, asking: Money | None) -> str:
    if limit.minor <= 0:
        return "Walk: no price above 0 keeps your rules"
    if asking is None:
        return f"Ask the price: walk away above {limit.text()}"
    if asking <= limit:
        return f"Buy up to {limit.text()}"
    return f"Walk, or offer less: your limit is {limit.text()}"


def _reasons(point: Any, advert: Advert, limit: Money, money: Callable[[float | None], str]) -> list[str]:
    """Why, in sentences."""
    said = []
    binding = next((r for r in point.breakdown.get("rules", []) if r["rule"] == point.binding), None)
    if binding is not None:
        said.append(
            f"{RULE_WORDS.get(point.binding, point.binding)} sets the limit: {limit.text()} is the price at which "
            f"{RULE_MEANS[point.binding]} ({binding['why']})."
        )
    if point.profit_p50_minor is not None:
        at = "Before any price" if advert.asking is None else f"At {advert.asking.text()}"
        said.append(
            f"{at} the profit would be {money(point.profit_p50_minor)} in the middle, "
            f"{money(point.profit_p10_minor)} to {money(point.profit_p90_minor)} in eight of ten cases; a loss in "
            f"{100 * (point.loss_chance or 0.0):.0f} of 100."
        )
    if point.hours_p50 is not None and point.days_p50 is not None:
        said.append(
            f"Own hours: {point.hours_p50:.0f} in the middle, {point.hours_p10:.0f} to {point.hours_p90:.0f}; "
            f"{point.days_p50:.0f} days from buying to sold."
        )
    let_go = point.breakdown.get("let_go_chance") or 0.0
    if let_go >= 0.01 and point.breakdown.get("let_go_how"):
        said.append(
            f"In {100 * let_go:.0f} of 100 cases it would be better to {point.breakdown['let_go_how']} than to mend "
            "it; that is counted in."
        )
    return said


RULE_MEANS = {
    "wage": "your hours still bring your wage on average",
    "loss": "a loss comes just as often as you accept",
    "tail": "the worst cases lose just what you can bear",
    "certain": "the risk is just worth it at your tolerance",
}


def _offer_page(request: Request, tx: Connection, car_id: int) -> Response:
    weighing = actions.weighing_of(tx, car_id)
    limit = weighing.ceiling.money

    def money(minor: float | None) -> str:
        return "–" if minor is None else Money(round(minor), limit.currency).text()

    bid = weighing.bid
    return page(
        request,
        "hunt/offer.html",
        tx=tx,
        car_id=car_id,
        chapter="advert",
        limit=limit,
        why=weighing.why,
        missing=weighing.missing,
        offer=money(bid.amount) if bid is not None and bid.gain > 0 else "",
        offer_chance=f"{100 * bid.chance:.0f}" if bid is not None else "",
        offer_gain=money(bid.gain) if bid is not None else "",
        lemons=money(bid.lemons_term) if bid is not None else "",
        swings=[
            (w.label, money(w.at_low), money(w.at_high))
            for w in weighing.swings
            if round(w.at_low) != round(w.at_high)
        ],
        causes=[
            (c.name, f"{100 * c.chance:.0f} %", money(c.cost_mean), c.plan)
            for c in weighing.causes
            if c.chance >= LEAST_SHOWN
        ][:MOST_SHOWN],
    )
