"""The crew and its phones, pairing, and how things are written on this device."""

from __future__ import annotations

import math
from typing import Any
from urllib.parse import urlsplit

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from markupsafe import Markup
from sqlalchemy import Connection

from driveout.crew import actions
from driveout.crew.pairing import MINUTES, Tries, spelled
from driveout.crew.records import Person
from driveout.crew.roles import OWN, ROLES, NotYours, demand_role, needed_role
from driveout.errors import BadEntry, DriveoutError
from driveout.files import shipped
from driveout.web import Form, PostedForm, now, page, reading, submit, writing
from driveout.web.forms import VISIT_COOKIE
from driveout.web.frame import frame_of, keep_cookie, status_of, taste_for, visitor_of
from driveout.web.listening import Listening
from driveout.web.taste import FIRST_DAYS, LOCALES, TASTE_COOKIE, THEMES, UNITS, taste_of

router = APIRouter()
ACTS_SHOWN = 50


def device_cookie(is_encrypted: bool) -> str:
    """Name of the cookie that holds a phone's key; with encryption no other site of the host can set it."""
    return "__Host-driveout_device" if is_encrypted else "driveout_device"


def _path(request: Request) -> str:
    """The route as it was declared, with its placeholders."""
    return str(getattr(request.scope.get("route"), "path", ""))


async def demand(request: Request) -> None:
    """Refuse a form, before it is read, that the visitor's role does not reach."""
    if request.method not in ("GET", "HEAD", "OPTIONS"):
        needed = needed_role(_path(request))
        # Whether it takes back one's own act can only be told once the form is read.
        demand_role(visitor_of(request).role, needed, is_own=needed == OWN)


def demand_own(request: Request, fields: dict[str, str]) -> None:
    """Refuse a form, once read, whose fields ask for more than the visitor's role reaches."""
    visit = request.cookies.get(VISIT_COOKIE, "")
    demand_role(
        visitor_of(request).role,
        needed_role(_path(request), fields),
        is_own=frame_of(request).is_own_act(visit, request.url.path, fields),
    )


def _listening(request: Request) -> Listening:
    where: Listening = request.app.state.listening
    return where


def _tries(request: Request) -> Tries:
    tries: Tries = request.app.state.tries
    return tries


def _owner_only(request: Request) -> None:
    if visitor_of(request).role != "owner":
        raise NotYours("Only the owner sees who is in the crew.")


@router.get("/crew")
def crew(request: Request) -> Response:
    """People, their phones, and who changed what outside the cars."""
    _owner_only(request)
    with reading(request) as tx:
        return _crew_page(request, tx)


def _crew_page(
    request: Request,
    tx: Connection,
    form: Form | None = None,
    error: DriveoutError | None = None,
    **shown: Any,
) -> Response:
    where = _listening(request)
    return page(
        request,
        "crew/crew.html",
        tx=tx,
        form=form,
        error=error,
        people=actions.people(tx),
        devices=actions.devices(tx),
        acts=actions.acts(tx, ACTS_SHOWN),
        roles=list(ROLES.items()),
        where=where,
        address=where.url(where.names[0]) if where.on_lan and where.names else "",
        minutes=MINUTES,
        **{"invited": None, "secret": "", "code": "", **shown},
    )


@router.post("/crew/person")
def add(request: Request, form: PostedForm) -> Response:
    """Take somebody into the crew."""
    return submit(
        request,
        lambda tx: actions.add_person(
            tx, form.text("name", longest=80), form.choice("role", tuple(ROLES)), at=now(request)
        ),
        then="/crew",
        again=lambda tx, error: _crew_page(request, tx, form, error),
    )


@router.post("/crew/role")
def role(request: Request, form: PostedForm) -> Response:
    """Give somebody another role."""
    return submit(
        request,
        lambda tx: actions.change_role(
            tx,
            form.whole("person", least=1) or 0,
            form.choice("role", tuple(ROLES)),
            form.whole("version", least=1) or 0,
        ),
        then="/crew",
        again=lambda tx, error: _crew_page(request, tx, form, error),
    )


@router.post("/crew/part")
def part(request: Request, form: PostedForm) -> Response:
    """Somebody leaves the crew."""
    return submit(
        request,
        lambda tx: actions.part_with(
            tx, form.whole("person", least=1) or 0, form.whole("version", least=1) or 0, at=now(request)
        ),
        then="/crew",
        again=lambda tx, error: _crew_page(request, tx, form, error),
    )


@router.post("/crew/take-away")
def take_away(request: Request, form: PostedForm) -> Response:
    """Take a phone's access away."""
    return submit(
        request,
        lambda tx: actions.take_away(tx, form.whole("device", least=1) or 0, at=now(request)),
        then="/crew",
        again=lambda tx, error: _crew_page(request, tx, form, error),
    )


@router.post("/crew/invite")
def invite(request: Request, form: PostedForm) -> Response:
    """Show a pairing code. It stands on this one page only and is kept nowhere."""
    where = _listening(request)
    try:
        if not where.on_lan:
            raise BadEntry(
                "driveout listens on this machine only; a phone cannot reach it. Stop it and start it again with  "
                "driveout serve --lan."
            )
        with writing(request) as tx:
            person = form.whole("person", least=1) or 0
            secret = actions.invite(tx, person, at=now(request))
    except DriveoutError as error:
        with reading(request) as tx:
            response = _crew_page(request, tx, form, error)
        response.status_code = status_of(error)
        return response
    _tries(request).start_anew()
    invited = next(one for one in _people(request) if one.id == person)
    with reading(request) as tx:
        return _crew_page(
            request,
            tx,
            invited=invited,
            secret=spelled(secret),
            code=_drawn(f"{where.url(where.names[0])}pair#{secret}"),
        )


def _people(request: Request) -> list[Person]:
    with reading(request) as tx:
        return actions.people(tx)


def _drawn(address: str) -> Markup:
    """A QR code as inline drawing, dark on light in every theme, with its quiet zone."""
    import segno

    code = segno.make(address, error="m", micro=False)
    return Markup(
        code.svg_inline(
            border=4, omitsize=True, dark="#000", light="#fff", svgclass="code", title="Pairing code"
        )
    )


@router.get("/pair")
def pair_page(request: Request) -> Response:
    """The page that a phone opens by the code, to be let in."""
    return page(request, "crew/pair.html", where=_listening(request), minutes=MINUTES)


@router.post("/pair")
def pair(request: Request, form: PostedForm) -> Response:
    """Pair this phone if it shows a secret that holds; wrong ones are answered ever more slowly."""
    tries, at = _tries(request), now(request)
    address = request.client.host if request.client else ""
    wait = tries.wait_s(address, at)
    try:
        if wait > 0:
            raise BadEntry(
                f"Too many wrong codes. Wait {math.ceil(wait)} seconds, then try once more.", field="secret"
            )
        with writing(request) as tx:
            paired = actions.pair(
                tx,
                form.text("secret", longest=100),
                form.text("device", longest=80),
                at=at,
            )
        if paired is None:
            tries.note_wrong(address, at)
            raise BadEntry(
                "This code does not hold. It was mistyped, used already, or is older than ten minutes. Ask the owner "
                "for a new one.",
                field="secret",
            )
    except DriveoutError as error:
        # The secret is not drawn again: a page with it could be kept or seen.
        kept = Form({"device": form.raw.get("device", "")})
        response = page(
            request, "crew/pair.html", form=kept, error=error, where=_listening(request), minutes=MINUTES
        )
        response.status_code = 429 if wait > 0 else status_of(error)
        if wait > 0:
            response.headers["retry-after"] = str(math.ceil(wait))
        return response
    tries.note_right(address)
    _, key = paired
    answer = RedirectResponse("/settings", 303)
    keep_cookie(request, answer, device_cookie(request.url.scheme == "https"), key)
    return answer


@router.post("/crew/leave")
def leave(request: Request, form: PostedForm) -> Response:
    """Unpair this phone: its key opens nothing from now on, and what it keeps is thrown away."""
    device = visitor_of(request).device
    if device is not None:
        with writing(request) as tx:
            actions.take_away(tx, device, at=now(request))
    answer = RedirectResponse("/pair", 303)
    answer.delete_cookie(device_cookie(request.url.scheme == "https"))
    answer.headers["clear-site-data"] = '"cache", "storage"'
    return answer


@router.post("/crew/keep")
def keep(request: Request, form: PostedForm) -> Response:
    """Keep what somebody else has changed meanwhile: nothing is done."""
    back = urlsplit(form.raw.get("back", "/"))
    inside = back.path if back.path.startswith("/") and not back.path.startswith(("//", "/\\")) else "/"
    return RedirectResponse(inside + (f"?{back.query}" if back.query else ""), 303)


@router.get("/settings")
def settings(request: Request) -> Response:
    """How numbers, days and distances are written on this device, and light or dark."""
    return _settings_page(request)


def _settings_page(
    request: Request, form: Form | None = None, error: DriveoutError | None = None
) -> Response:
    return page(
        request,
        "crew/settings.html",
        form=form,
        error=error,
        chosen=taste_for(request),
        locales=list(LOCALES.items()),
        units=list(UNITS.items()),
        themes=list(THEMES.items()),
        first_days=list(FIRST_DAYS.items()),
        where=_listening(request),
        is_encrypted=request.url.scheme == "https",
    )


@router.post("/settings")
def choose(request: Request, form: PostedForm) -> Response:
    """Keep how things are written on this device."""
    try:
        kept = ".".join(
            (
                form.choice("locale", tuple(LOCALES)),
                form.choice("units", tuple(UNITS)),
                form.choice("theme", tuple(THEMES)),
                form.choice("first_day", tuple(FIRST_DAYS)) if form.raw.get("first_day") else "custom",
            )
        )
    except DriveoutError as error:
        response = _settings_page(request, form, error)
        response.status_code = status_of(error)
        return response
    answer = RedirectResponse("/settings", 303)
    keep_cookie(request, answer, TASTE_COOKIE, taste_of(kept).cookie)
    return answer


@router.get("/sw.js")
def worker() -> Response:
    """The script that keeps pages for reading offline; it must stand at the top to reach all of them."""
    return Response(
        shipped("driveout.web", "static/sw.js"),
        media_type="text/javascript",
        headers={"cache-control": "no-cache"},
    )


@router.get("/manifest.webmanifest")
def manifest() -> Response:
    """What a phone needs to put driveout on its start screen."""
    return Response(
        shipped("driveout.web", "static/driveout.webmanifest"), media_type="application/manifest+json"
    )


__all__ = ["demand", "demand_own", "device_cookie", "router"]
