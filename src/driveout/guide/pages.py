"""Help pages: the guide, the method behind each number, files, commands, the map, the sources."""

from __future__ import annotations

import inspect
from collections.abc import Iterator

from fastapi import APIRouter, Request, Response
from fastapi.routing import APIRoute
from markupsafe import Markup
from starlette.exceptions import HTTPException

from driveout.guide.actions import KINDS, SINGLE, document, documents
from driveout.guide.documents import as_html
from driveout.sources import shelf
from driveout.web import page

router = APIRouter()

HEADINGS = {"guide": "The guide", "method": "The method behind each number", "formats": "Files of your own"}


@router.get("/help")
def contents(request: Request) -> Response:
    """Help: everything that can be read about driveout."""
    pages = documents().values()
    kinds = [(HEADINGS[kind], [one for one in pages if one.shelf == kind]) for kind in KINDS]
    return page(request, "guide/help.html", kinds=kinds, singles=[one for one in pages if not one.shelf])


@router.get("/help/sources")
def sources(request: Request) -> Response:
    """Every source that a shipped number leans on, and how it is known."""
    rows = sorted(shelf().values(), key=lambda source: source.title)
    return page(request, "guide/sources.html", sources=rows)


@router.get("/help/map")
def site_map(request: Request) -> Response:
    """Every page with what it is for, by the folder its code is in."""
    return page(request, "guide/map.html", folders=_by_folder(request))


@router.get("/help/api")
def api_page(request: Request) -> Response:
    """Every question that another program may ask."""
    paths = request.app.openapi()["paths"]
    rows = [
        (f"{method.upper()} {path}", (told.get("description") or told.get("summary") or "").split("\n")[0])
        for path, methods in sorted(paths.items())
        for method, told in methods.items()
    ]
    return page(request, "guide/api.html", rows=rows)


@router.get("/help/{name}")
def single(request: Request, name: str) -> Response:
    """The commands, the settings, the words, the licences or the trials."""
    return _shown(request, f"{name}.md", name in SINGLE)


@router.get("/help/{kind}/{slug}")
def kept(request: Request, kind: str, slug: str) -> Response:
    """One page of the guide, one method or one kind of file."""
    return _shown(request, f"{kind}/{slug}.md", kind in KINDS)


def _shown(request: Request, path: str, known: bool) -> Response:
    if not known or path not in documents():
        raise HTTPException(404)
    shown = document(path)
    return page(
        request,
        "guide/document.html",
        heading=shown.title,
        kind=HEADINGS.get(shown.shelf, ""),
        body=Markup(as_html(shown, shelf())),
    )


def _by_folder(request: Request) -> dict[str, list[tuple[str, str]]]:
    found: dict[str, list[tuple[str, str]]] = {}
    for route in _routes(request):
        folder = route.endpoint.__module__.split(".")[1]
        said = (inspect.getdoc(route.endpoint) or "").split("\n")[0]
        found.setdefault(folder, []).append((route.path, said))
    return {folder: sorted(rows) for folder, rows in sorted(found.items())}


def _routes(request: Request) -> Iterator[APIRoute]:
    for route in request.app.state.page_routes:
        if isinstance(route, APIRoute) and "GET" in (route.methods or ()):
            yield route
