"""Drawing pages and carrying out posted forms."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any, Protocol

import jinja2
from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from markupsafe import Markup, escape
from sqlalchemy import Connection

from driveout.errors import BadEntry, CannotSay, Conflict, DriveoutError, StoreTrouble
from driveout.units import Money
from driveout.web.both_versions import Side, standing_form, typed_beside
from driveout.web.forms import VISIT_COOKIE, Form, csrf_token, new_visit
from driveout.web.gate import Visitor
from driveout.web.taste import (
    TASTE_COOKIE,
    Taste,
    as_field,
    day_text,
    drawn_amounts,
    finished,
    km_text,
    localised,
    number_text,
    settled,
    taste_of,
    use,
)

Tx = Connection


class Record(Protocol):
    """What the frame needs of the store."""

    def reading(self) -> AbstractContextManager[Connection]:
        """Open a transaction that changes nothing."""
        ...

    def writing(self) -> AbstractContextManager[Connection]:
        """Open a transaction that is written whole or not at all."""
        ...

    def now(self) -> datetime:
        """Present moment, aware, UTC."""
        ...


@dataclass(frozen=True)
class Chapter:
    """One chapter of a car's book; its page is ``/cars/{car_id}/{slug}``."""

    slug: str
    title: str
    order: int


@dataclass(frozen=True)
class Undo:
    """How the act that was just carried out is taken back: a form of our own, sent as it stands.

    Parameters
    ----------
    action
        Address of the form that takes it back.
    fields
        What that form sends.
    says
        What was done, as a sentence: ``Booked: clutch kit, 142.00 USD.``
    """

    action: str
    fields: dict[str, str]
    says: str = "Done."


@dataclass(frozen=True)
class Changed:
    """Who changed something last, when, and what it was."""

    at: datetime
    who: str
    what: str = ""


@dataclass
class Frame:
    """Everything the pages share; the application builds one and hangs it on ``app.state.frame``.

    Parameters
    ----------
    record
        The store.
    secret
        Key of the form tokens, kept between starts.
    folders
        Template folders by part name.
    chapters
        Chapters of a car in reading order.
    car_top
        Draws what stands above every page of one car: name, stage, outlook strip.
    methods
        Name and title of the method pages behind a chapter or a template.
    demand
        Refuses a form whose role the visitor does not hold.
    may
        Whether a role may send the form at an address; a form that it may not send is not drawn.
    noted
        Keeps who changed something, in the same transaction.
    last_change
        Who changed what stands at an address last.
    """

    record: Record
    secret: bytes
    folders: dict[str, str]
    chapters: tuple[Chapter, ...] = ()
    car_top: Callable[[Connection, int], dict[str, Any]] | None = None
    version: str = ""
    methods: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    demand: Callable[[Request, dict[str, str]], None] = lambda request, fields: None
    may: Callable[[str, str], bool] = lambda role, address: True
    noted: Callable[[Connection, Visitor, str, datetime], None] | None = None
    last_change: Callable[[Connection, str], Changed | None] | None = None
    notices: OrderedDict[str, Undo] = field(default_factory=OrderedDict)
    own_acts: OrderedDict[tuple[str, str, tuple[tuple[str, str], ...]], None] = field(
        default_factory=OrderedDict
    )
    done: OrderedDict[str, str] = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        loaders = {part: jinja2.FileSystemLoader(folder) for part, folder in self.folders.items()}
        self.templates = jinja2.Environment(
            loader=jinja2.PrefixLoader(loaders),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            finalize=finished,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.templates.filters.update(
            money=_as_written(_money),
            number=_as_written(number_text),
            day=_as_written(day_text),
            hours=_hours,
            km=_as_written(km_text),
            asfield=as_field,
            drawn=drawn_amounts,
        )

    def already(self, token: str) -> str | None:
        """Where an earlier submission of the same drawn form led."""
        with self.lock:
            return self.done.get(token) if token else None

    def remember(self, token: str, target: str) -> None:
        """Note that a drawn form has been carried out."""
        if token:
            with self.lock:
                self.done[token] = target
                while len(self.done) > 5000:
                    self.done.popitem(last=False)

    def can_undo(self, visit: str, undo: Undo) -> None:
        """Show the way back on the visit's next page, and let it be gone by whoever did the act."""
        with self.lock:
            self.notices[visit] = undo
            self.own_acts[(visit, undo.action, tuple(sorted(undo.fields.items())))] = None
            for kept in (self.notices, self.own_acts):
                while len(kept) > 5000:
                    kept.popitem(last=False)

    def notice(self, visit: str) -> Undo | None:
        """What to offer to take back, once."""
        with self.lock:
            return self.notices.pop(visit, None)

    def is_own_act(self, visit: str, action: str, fields: Mapping[str, str]) -> bool:
        """Whether a form takes back what was done in the same visit since the last start."""
        with self.lock:
            return (visit, action, tuple(sorted(fields.items()))) in self.own_acts


STATUS: tuple[tuple[type[DriveoutError], int], ...] = (
    (Conflict, 409),
    (StoreTrouble, 503),
    (CannotSay, 422),
    (BadEntry, 422),
    (DriveoutError, 400),
)


def status_of(error: DriveoutError) -> int:
    """HTTP status of a refusal."""
    own: int | None = getattr(error, "status", None)
    return own or next(status for kind, status in STATUS if isinstance(error, kind))


def frame_of(request: Request) -> Frame:
    """The frame that the application built."""
    frame: Frame = request.app.state.frame
    return frame


def reading(request: Request) -> AbstractContextManager[Connection]:
    """Transaction for drawing a page."""
    return frame_of(request).record.reading()


def writing(request: Request) -> AbstractContextManager[Connection]:
    """Transaction for a change; pages normally use `submit`."""
    return frame_of(request).record.writing()


def now(request: Request) -> datetime:
    """Present moment by the record's clock."""
    return frame_of(request).record.now()


def visitor_of(request: Request) -> Visitor:
    """Who is asking, as the gate found out."""
    found: Visitor = getattr(request.state, "visitor", Visitor())
    return found


def taste_for(request: Request) -> Taste:
    """How this device wants things written."""
    return taste_of(request.cookies.get(TASTE_COOKIE, ""), request.headers.get("accept-language", ""))


def typed_number(request: Request, text: str) -> str:
    """A number from an address, as `Form.plain` gives one from a form; asked about when it can be read in two ways."""
    return settled(text, taste_for(request))


def header_of(request: Request, tx: Connection, car_id: int) -> dict[str, Any]:
    """What stands above every page of a car: name, stage, next step and outlook strip."""
    draw = frame_of(request).car_top
    return draw(tx, car_id) if draw is not None else {}


def page(
    request: Request,
    template: str,
    *,
    tx: Connection | None = None,
    car_id: int | None = None,
    chapter: str = "",
    form: Form | None = None,
    error: DriveoutError | None = None,
    status: int = 200,
    **context: Any,
) -> Response:
    """Draw one page.

    Parameters
    ----------
    request
        The request being answered.
    template
        ``part/name.html``.
    tx
        Open transaction; needed when ``car_id`` is given.
    car_id
        Car whose book the page belongs to; adds its header and chapters.
    chapter
        Slug of the chapter, marked in the list.
    form
        The refused form, so that every field shows what was typed.
    error
        Why it was refused.
    status
        HTTP status.
    **context
        What the template needs besides.

    Returns
    -------
    Response
        The page, with the visit cookie when there was none.
    """
    frame = frame_of(request)
    visit = request.cookies.get(VISIT_COOKIE) or new_visit()
    taste, visitor = taste_for(request), visitor_of(request)
    use(taste)
    if getattr(request.state, "draw_standing", False):
        form = error = None
    top = header_of(request, tx, car_id) if car_id is not None and tx is not None else {}
    body = frame.templates.get_template(template).render(
        {
            "csrf": csrf_token(frame.secret, visit),
            "once": lambda: secrets.token_urlsafe(12),
            "chapters": frame.chapters if car_id is not None else (),
            "chapter": chapter,
            "car_id": car_id,
            "form": form,
            "sent": form,  # the kit has a macro of the name form
            "error": error,
            "path": request.url.path,
            "top": top,
            "today": frame.record.now().date(),
            "taste": taste,
            "visitor": visitor,
            "may": lambda address: frame.may(visitor.role, address),
            "notice": frame.notice(visit) if status == 200 and error is None else None,
            "methods": frame.methods.get(template) or frame.methods.get(chapter, ()),
            **context,
        }
    )
    response = HTMLResponse(body, status)
    if visit != request.cookies.get(VISIT_COOKIE):
        keep_cookie(request, response, VISIT_COOKIE, visit)
    return response


def keep_cookie(request: Request, response: Response, name: str, value: str) -> None:
    """Keep something on the device: out of reach of scripts and other sites, encrypted when the page is."""
    response.set_cookie(
        name,
        value,
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
        max_age=60 * 60 * 24 * 365,
    )


def submit(
    request: Request,
    do: Callable[[Connection], Any],
    *,
    then: str | Callable[[Any], str],
    again: Callable[[Connection, DriveoutError], Response],
    undo: Callable[[Any], Undo | None] | None = None,
) -> Response:
    """Carry out a posted form in one transaction, or show it again with what was typed.

    Parameters
    ----------
    request
        The request being answered.
    do
        The action; its reading of the form is inside, so that a bad field is caught too.
    then
        Where to go afterwards, or how to tell from the action's result.
    again
        Draws the page anew with the error.
    undo
        Tells from the action's result how it is taken back; the next page offers it.

    Returns
    -------
    Response
        A redirect, or the page with the error and status 409, 422 or 503. When somebody else changed the
        same thing meanwhile: both versions side by side.
    """
    frame = frame_of(request)
    use(taste_for(request))
    visitor = visitor_of(request)
    # The mark of the drawn form makes a double tap count once.
    token: str = getattr(request.state, "once", "")
    earlier = frame.already(token)
    if earlier is not None:
        return RedirectResponse(earlier, 303)
    try:
        with frame.record.writing() as tx:
            tx.info["by"] = visitor.name
            try:
                result = do(tx)
            finally:
                tx.info.pop("by", None)
            if frame.noted is not None:
                frame.noted(tx, visitor, request.url.path, frame.record.now())
    except DriveoutError as error:
        with frame.record.reading() as tx:
            response = _side_by_side(request, tx, again, error) if isinstance(error, Conflict) else None
            if response is None:
                response = again(tx, error)
        response.status_code = status_of(error)
        return response
    target = then(result) if callable(then) else then
    frame.remember(token, target)
    way_back = undo(result) if undo is not None else None
    visit = request.cookies.get(VISIT_COOKIE)
    if way_back is not None and visit:
        frame.can_undo(visit, way_back)
    return RedirectResponse(target, 303)


def _side_by_side(
    request: Request,
    tx: Connection,
    again: Callable[[Connection, DriveoutError], Response],
    error: Conflict,
) -> Response | None:
    """What was typed beside what stands now, if the form is one that carries the version it was drawn for."""
    form: Form | None = getattr(request.state, "form", None)
    if form is None or "version" not in form.raw:
        return None
    request.state.draw_standing = True
    try:
        drawn = again(tx, error)
    finally:
        request.state.draw_standing = False
    stands = standing_form(bytes(drawn.body).decode(), request.url.path, form.raw)
    if stands is not None and stands.version == form.raw["version"]:
        return None  # The version was not what clashed; the page itself says what did.
    frame = frame_of(request)
    changed = frame.last_change(tx, request.url.path) if frame.last_change is not None else None
    sides: list[Side] = typed_beside(form.lists, stands) if stands is not None else []
    return page(
        request,
        "web/both.html",
        conflict=error,
        sides=sides,
        stands=stands,
        typed=[(name, value) for name, values in form.lists.items() for value in values if value],
        files=[upload.name for upload in form.files.values()],
        changed=changed,
        action=request.url.path + (f"?{request.url.query}" if request.url.query else ""),
        back=request.headers.get("referer", "/"),
    )


def _as_written(write: Callable[..., str]) -> Callable[..., Markup]:
    """A filter whose result is left alone by the last touch; it would swap the marks a second time."""
    return lambda value, *args: escape(write(value, *args))


def _money(value: Money | None) -> str:
    return "–" if value is None else localised(value.text())


def _hours(value: float | Decimal | None) -> Markup:
    return Markup("–") if value is None else Markup(f"{number_text(value, 1)}&nbsp;h")
