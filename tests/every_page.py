"""Finds every page as a person would: by following the links from the yard."""

from __future__ import annotations

import re
from html import unescape

from fastapi import FastAPI
from starlette.testclient import TestClient

# What a link may also lead to: files to keep, pictures, and what a browser fetches by itself.
FILES = re.compile(
    r"\.(pdf|ics|csv|html|js|json|webmanifest|css|svg|png|zip)$|/(export|photo|file|static)(/|$)|^/api/"
)


def every_page(app: FastAPI, start: str = "/", most_of_a_kind: int = 6) -> dict[str, list[str]]:
    """Addresses by the route that draws them; a link that leads nowhere is an error.

    Parameters
    ----------
    app
        The application, on a record that holds something.
    start
        Where to begin.
    most_of_a_kind
        How many addresses of one route are followed.

    Returns
    -------
    dict[str, list[str]]
        Route, such as ``/cars/{car_id}/advert``, and the addresses found for it.
    """
    found: dict[str, list[str]] = {}
    seen = {start}
    ahead = [start]
    with TestClient(app, base_url="http://localhost:8321") as client:
        while ahead:
            address = ahead.pop(0)
            route = route_of(app, address)
            if len(found.get(route, [])) >= most_of_a_kind:
                continue
            answer = client.get(address)
            if answer.status_code != 200:
                raise AssertionError(f"{address} answers {answer.status_code}")
            if not answer.headers["content-type"].startswith("text/html"):
                continue
            found.setdefault(route, []).append(address)
            for link in re.findall(r'(?:href|action)="(/[^"#]*)', answer.text):
                path = unescape(link)
                if path not in seen and not FILES.search(path.partition("?")[0]) and has_page(app, path):
                    seen.add(path)
                    ahead.append(path)
    return found


def has_page(app: FastAPI, address: str) -> bool:
    """Whether a page can be fetched there; a form's address may only take posts."""
    return bool(route_of(app, address))


def route_of(app: FastAPI, address: str) -> str:
    """The route that draws an address; empty when none does."""
    path = address.partition("?")[0]
    for route in app.state.page_routes:
        if "GET" in route.methods and route.path_regex.match(path):
            return str(route.path)
    return ""
