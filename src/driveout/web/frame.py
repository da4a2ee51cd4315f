"""Drawing pages and carrying out posted forms."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Protocol

import jinja2
from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from markupsafe import Markup
from sqlalchemy import Connection

from driveout.errors import BadEntry, CannotSay, Conflict, DriveoutError, StoreTrouble
from driveout.units import Money, miles_from_km
from driveout.web.forms import VISIT_COOKIE, Form, csrf_token, new_visit

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
    """

    record: Record
    secret: bytes
    folders: dict[str, str]
    chapters: tuple[Chapter, ...] = ()
    car_top: Callable[[Connection, int], dict[str, Any]] | None = None
    version: str = ""
    methods: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    done: OrderedDict[str, str] = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        loaders = {part: jinja2.FileSystemLoader(folder) for part, folder in self.folders.items()}
        self.templates = jinja2.Environment(
            loader=jinja2.PrefixLoader(loaders),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.templates.filters.update(money=_money, number=_number, day=_day, hours=_hours, km=_km)

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


STATUS: tuple[tuple[type[DriveoutError], int], ...] = (
    (Conflict, 409),
    (StoreTrouble, 503),
    (CannotSay, 422),
    (BadEntry, 422),
    (DriveoutError, 400),
)


def status_of(error: DriveoutError) -> int:
    """HTTP status of a refusal."""
    return next(status for kind, status in STATUS if isinstance(error, kind))


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
            "methods": frame.methods.get(template) or frame.methods.get(chapter, ()),
            **context,
        }
    )
    response = HTMLResponse(body, status)
    if visit != request.cookies.get(VISIT_COOKIE):
        response.set_cookie(VISIT_COOKIE, visit, httponly=True, samesite="strict", max_age=60 * 60 * 24 * 365)
    return response


def submit(
    request: Request,
    do: Callable[[Connection], Any],
    *,
    then: str | Callable[[Any], str],
    again: Callable[[Connection, DriveoutError], Response],
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

    Returns
    -------
    Response
        A redirect, or the page with the error and status 409, 422 or 503.
    """
    frame = frame_of(request)
    # The mark of the drawn form makes a double tap count once.
    token: str = getattr(request.state, "once", "")
    earlier = frame.already(token)
    if earlier is not None:
        return RedirectResponse(earlier, 303)
    try:
        with frame.record.writing() as tx:
            result = do(tx)
    except DriveoutError as error:
        with frame.record.reading() as tx:
            response = again(tx, error)
        response.status_code = status_of(error)
        return response
    target = then(result) if callable(then) else then
    frame.remember(token, target)
    return RedirectResponse(target, 303)


def _money(value: Money | None) -> str:
    return "–" if value is None else value.text()


def _number(value: float | Decimal | None, digits: int = 0) -> str:
    return "–" if value is None else f"{value:,.{digits}f}"


def _day(value: date | datetime | None) -> str:
    return "–" if value is None else f"{value:%-d %b %Y}"


def _hours(value: float | Decimal | None) -> Markup:
    return Markup("–") if value is None else Markup(f"{value:,.1f}&nbsp;h")


def _km(value: float | None) -> str:
    return "–" if value is None else f"{value:,.0f} km ({miles_from_km(value):,.0f} mi)"
