"""Finds every form on every page and fills it, as somebody with bad intentions would."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from html import unescape
from html.parser import HTMLParser

from fastapi.routing import APIRoute
from starlette.testclient import TestClient

PICTURE = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)

# Words in these kinds of field are free text; what else is typed must keep its shape for a form to go through.
TEXT_KINDS = frozenset({"text", "search", "url", "email", "tel", "area"})


@dataclass
class DrawnField:
    """One field of a form."""

    name: str
    kind: str
    values: list[str] = field(default_factory=list)
    longest: int = 0
    inputmode: str = ""

    @property
    def is_text(self) -> bool:
        """Whether anything may be typed."""
        return self.kind in TEXT_KINDS and self.inputmode not in ("decimal", "numeric")


@dataclass
class DrawnForm:
    """One form as the page draws it."""

    page: str
    action: str
    method: str
    fields: list[DrawnField] = field(default_factory=list)

    def key(self) -> tuple[str, tuple[str, ...]]:
        """Where it leads and what it asks."""
        return self.action, tuple(sorted({one.name for one in self.fields}))


class _Complaints(HTMLParser):
    """Names of the fields that a refused form complains about."""

    def __init__(self) -> None:
        super().__init__()
        self.names: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        facts = dict(attrs)
        if facts.get("aria-invalid") == "true" and facts.get("name"):
            self.names.add(str(facts["name"]))


def complained(text: str) -> set[str]:
    """Names of the fields that a refused form complains about."""
    found = _Complaints()
    found.feed(text)
    return found.names


class _Forms(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.page = page
        self.forms: list[DrawnForm] = []
        self.field: DrawnField | None = None
        self.is_area = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        facts = {key: value or "" for key, value in attrs}
        if tag == "form":
            self.forms.append(
                DrawnForm(self.page, facts.get("action", self.page), facts.get("method", "get").lower())
            )
        if not self.forms:
            return
        form, name = self.forms[-1], facts.get("name", "")
        if tag in ("input", "textarea", "select") and name:
            kind = {"textarea": "area", "select": "choice"}.get(tag, facts.get("type", "text"))
            self.field = DrawnField(name, kind, inputmode=facts.get("inputmode", ""))
            if kind in ("checkbox", "radio"):
                if "checked" in facts:
                    self.field.values = [facts.get("value", "on")]
            elif tag == "input":
                self.field.values = [facts.get("value", "")]
            form.fields.append(self.field)
            self.is_area = tag == "textarea"
        elif tag == "option" and self.field is not None:
            if "selected" in facts:
                self.field.values.insert(0, facts.get("value", ""))
            else:
                self.field.values.append(facts.get("value", ""))
        elif tag == "button" and name:
            form.fields.append(DrawnField(name, "button", [facts.get("value", "")]))

    def handle_data(self, data: str) -> None:
        if self.is_area and self.field is not None:
            self.field.values = ["".join([*self.field.values, data])]

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self.is_area = False
        if tag == "form" and self.forms:
            self.field = None


def forms_of(page: str, text: str) -> list[DrawnForm]:
    """Forms of one drawn page."""
    found = _Forms(page)
    found.feed(text)
    return found.forms


def methods_of(route: APIRoute) -> set[str]:
    """Methods that a route takes."""
    return set(route.methods or ())


def every_route(app: object) -> list[APIRoute]:
    """Every route of the application, also those of routers within routers."""
    found: list[APIRoute] = []

    def walk(items: list) -> None:
        for item in items:
            if isinstance(item, APIRoute):
                found.append(item)
            inner = getattr(item, "routes", None) or getattr(
                getattr(item, "original_router", None), "routes", None
            )
            walk(list(inner or []))

    walk(list(app.routes))  # type: ignore[attr-defined]
    return found


def pages_by_link(client: TestClient, most_of_a_kind: int = 3) -> dict[str, str]:
    """Every page that links lead to from the yard, with its text; of pages that differ in a number only a few."""
    texts: dict[str, str] = {}
    kinds: dict[str, int] = {}
    ahead, seen = ["/"], {"/"}
    while ahead:
        address = ahead.pop(0)
        kind = re.sub(r"\d+|\?.*|[0-9a-f]{64}", "#", address)
        if kinds.get(kind, 0) >= most_of_a_kind:
            continue
        answer = client.get(address, follow_redirects=True)
        if not answer.headers["content-type"].startswith("text/html") or answer.status_code == 405:
            continue
        assert answer.status_code < 500, (address, answer.status_code)
        kinds[kind] = kinds.get(kind, 0) + 1
        texts[address] = answer.text
        for link in re.findall(r'href="(/[^"#]*)', answer.text):
            path = unescape(link)
            if path not in seen and not path.startswith(("/static/", "/api/")):
                seen.add(path)
                ahead.append(path)
    return texts


def every_form(client: TestClient) -> list[DrawnForm]:
    """Each posting form that some page draws, once for each route and set of fields."""
    found: dict[tuple[str, tuple[str, ...]], DrawnForm] = {}
    routes = [route for route in every_route(client.app) if "POST" in methods_of(route)]
    for address, text in pages_by_link(client, most_of_a_kind=2).items():
        for form in forms_of(address, text):
            path = form.action.partition("?")[0]
            route = next((one.path for one in routes if one.path_regex.match(path)), "")
            if form.method == "post":
                assert route, f"{address} draws a form that leads nowhere: {form.action}"
                found.setdefault((route, form.key()[1]), form)
    return list(found.values())


def filled(form: DrawnForm, words: Sequence[str], turn: int) -> Iterator[tuple[str, str]]:
    """Values for a form: bad words in each free text, what it stands on or a known good value elsewhere."""
    for number, one in enumerate(form.fields):
        if one.kind == "file" or one.name == "once":
            continue
        standing = one.values[0] if one.values else ""
        if one.name == "csrf" or one.kind == "hidden":
            yield one.name, standing
        elif one.name in KNOWN:
            yield one.name, KNOWN[one.name]
        elif one.is_text:
            yield one.name, words[(number + turn) % len(words)]
        elif one.kind == "choice":
            yield one.name, standing or next((value for value in one.values if value), "")
        elif one.kind in ("checkbox", "radio"):
            if one.values:
                yield one.name, standing
        elif one.kind == "date":
            yield one.name, standing or "2026-05-04"
        else:
            yield one.name, standing or "2"


_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
KNOWN = {f"me_{day}": "18:00-21:00" for day in _DAYS} | {"day": "2026-05-04"}

# Tried one after the other in a field whose form does not take the bad words.
PLAUSIBLE = (
    "",
    "2",
    "12.50",
    "1450",
    "2013",
    "2026-05-04",
    "35",
    "120",
    "0.9",
    "205/55 R16",
    "110 N·m",
    "2319",
)


def send_until_taken(
    client: TestClient, form: DrawnForm, words: Sequence[str], turn: int = 0, most: int = 25
) -> tuple[int, list[str], int]:
    """Send a form with bad words; fields that refuse them get something plausible, one after the other.

    Returns the last status, every page that was drawn on the way, and how many fields the words went into.
    """
    # Drawn anew, because a form that was sent before may have moved the version on.
    fresh = [one for one in forms_of(form.page, client.get(form.page).text) if one.action == form.action]
    form = next((one for one in fresh if one.key() == form.key()), form)
    typed = [(name, value) for name, value in filled(form, words, turn)]
    has_photo = any(one.kind == "file" and one.name == "photo" for one in form.fields)
    tried: dict[str, int] = {}
    drawn: list[str] = []
    status = 0
    for _ in range(most):
        fields: dict[str, list[str]] = {}
        for name, value in typed:
            fields.setdefault(name, []).append(value)
        files = {"photo": ("p.png", PICTURE, "image/png")} if has_photo else None
        answer = client.post(form.action, data=fields, files=files, follow_redirects=False)
        status = answer.status_code
        if answer.headers.get("content-type", "").startswith("text/html"):
            drawn.append(answer.text)
        names = complained(answer.text) & {name for name, _ in typed}
        if status != 422 or not names:
            break
        for name in names:
            attempt = tried.get(name, 0)
            tried[name] = attempt + 1
            if attempt >= len(PLAUSIBLE):
                return status, drawn, 0
            typed = [(one, PLAUSIBLE[attempt] if one == name else value) for one, value in typed]
    return status, drawn, sum(value in words for _, value in typed) if status == 303 else 0
