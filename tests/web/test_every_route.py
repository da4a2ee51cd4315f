"""What every answer of the house carries, whichever route gave it."""

from __future__ import annotations

import pytest
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from driveout.app import web_app
from driveout.demo.actions import fill
from driveout.store import Store

VALUES = {
    "car_id": "2", "job_id": "1", "key": "tyres", "spot": "front-left", "digest": "0" * 64, "name": "money",
}  # fmt: skip
# OWASP Secure Headers Project, best practices 2024; clickjacking: CSP frame-ancestors (W3C CSP 3) and X-Frame-Options (RFC 7034).
WANTED = {
    "x-frame-options": "DENY",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


def routes(app: object) -> list[APIRoute]:
    found: list[APIRoute] = []

    def walk(items: list) -> None:
        for item in items:
            if isinstance(item, APIRoute):
                found.append(item)
            inner = getattr(item, "routes", None) or getattr(
                getattr(item, "original_router", None), "routes", None
            )
            walk(inner or [])

    walk(list(app.routes))  # type: ignore[attr-defined]
    return found


def trouble_of(answer: object, path: str) -> list[str]:
    headers = answer.headers  # type: ignore[attr-defined]
    policy = headers.get("content-security-policy", "")
    wrong = [f"{path}: {name}" for name, value in WANTED.items() if headers.get(name) != value]
    for part in ("default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"):
        if part not in policy:
            wrong.append(f"{path}: no {part}")
    if "unsafe" in policy or "*" in policy or "://" in policy:
        wrong.append(f"{path}: {policy}")
    if not path.startswith("/static/") and path != "/sw.js" and headers.get("cache-control") != "no-store":
        wrong.append(f"{path}: may be kept: {headers.get('cache-control')}")
    for cookie in headers.get_list("set-cookie"):
        if "httponly" not in cookie.lower() or "samesite=strict" not in cookie.lower():
            wrong.append(f"{path}: {cookie[:30]}")
    return wrong


def test_every_route_answers_with_every_protecting_header(client: TestClient, store: Store) -> None:
    fill(store)
    wrong: list[str] = []
    seen = 0
    quiet = TestClient(web_app(store), base_url="http://localhost:8321", raise_server_exceptions=False)
    for route in routes(quiet.app):
        path = route.path
        for name in route.param_convertors:
            path = path.replace("{" + name + ":path}", "x").replace("{" + name + "}", VALUES.get(name, "x"))
        for method in (route.methods or set()) - {"HEAD"}:
            answer = (
                quiet.get(path, follow_redirects=False)
                if method == "GET"
                else quiet.request(method, path, data={}, follow_redirects=False)
            )
            seen += 1
            wrong += trouble_of(answer, path)
            if answer.status_code >= 500 and answer.status_code != 503:
                wrong.append(f"{method} {path}: {answer.status_code}")
    assert seen > 150
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    "path", ["/static/sw.js", "/static/driveout.js", "/static/mark-192.png", "/manifest.webmanifest"]
)
def test_what_is_installed_is_there(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 200


def test_the_manifest_says_what_a_phone_needs_to_install(client: TestClient) -> None:
    """Fields as W3C Web Application Manifest names them; sizes 192 and 512 as browsers ask for (web.dev, from memory)."""
    answer = client.get("/manifest.webmanifest")
    held = answer.json()

    assert answer.headers["content-type"] == "application/manifest+json"
    assert {"name", "short_name", "start_url", "display", "icons", "theme_color", "background_color"} <= set(
        held
    )
    sizes = {icon["sizes"] for icon in held["icons"]}
    assert {"192x192", "512x512"} <= sizes
    assert any(icon.get("purpose") == "maskable" for icon in held["icons"])
    for icon in held["icons"]:
        data = client.get(icon["src"]).content
        if icon["type"] == "image/png":
            # PNG specification, 11.2.2: width and height are the first two words of IHDR.
            width = int.from_bytes(data[16:20], "big")
            height = int.from_bytes(data[20:24], "big")
            assert f"{width}x{height}" == icon["sizes"]


@pytest.mark.parametrize(
    "path",
    [
        "/cars/2/sale/photo/..%2f..%2fsecret",
        "/cars/2/work/1/photo/..%2f..%2fsecret",
        "/cars/2/viewing/photo/%2e%2e%2fsecret",
        "/cars/2/viewing/photo/....//secret",
        "/cars/2/work/1/photo/" + "a" * 63 + "g",
        "/static/..%2f..%2fapp.py",
        "/static/%2e%2e/%2e%2e/app.py",
    ],
)
def test_no_file_is_given_out_by_a_path_that_climbs(client: TestClient, store: Store, path: str) -> None:
    fill(store)
    answer = client.get(path)

    assert answer.status_code in (404, 422, 400, 503), answer.status_code
    assert (store.home / "secret").read_bytes() not in answer.content


def test_a_fault_of_the_program_is_said_plainly_and_carries_the_headers(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from driveout.yard import actions

    def broken(*given: object, **named: object) -> object:
        raise ZeroDivisionError("secret words")

    monkeypatch.setattr(actions, "rows_of_the_yard", broken)
    quiet = TestClient(web_app(store), base_url="http://localhost:8321", raise_server_exceptions=False)
    answer = quiet.get("/")

    assert answer.status_code == 500
    assert "fault of driveout" in answer.text
    assert "secret words" not in answer.text
    assert trouble_of(answer, "/") == []
