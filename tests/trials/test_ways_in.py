"""Ways in that must stay shut: other sites, other hosts, foreign paths, wrong secrets, what logs give away."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable
from urllib.parse import quote

import pytest
from starlette.testclient import TestClient

from driveout.app import web_app
from driveout.crew import actions as crew
from driveout.demo.actions import fill
from driveout.store import Store, write_archive
from driveout.web.listening import Listening
from tests.conftest import Clock
from tests.trials.forms import every_route, methods_of

GOOD = {
    "car_id": "2",
    "job_id": "1",
    "key": "tyres",
    "spot": "front-left",
    "digest": "0" * 64,
    "year": "2026",
}
BAD = (
    *(
        "../../../../etc/passwd",
        "..%2f..%2f..%2fetc%2fpasswd",
        "....//....//etc/passwd",
        "%2e%2e%2fdriveout.db",
    ),
    *("/etc/passwd", "C:\\Windows\\win.ini", "secret", "%00", "a%00b", "-1", "0", "9" * 30, "1e9", "1.5"),
    *("١", "2%0d%0aset-cookie:%20zqx=1", "1' OR '1'='1", "1;DROP TABLE cars_car", "{{7*7}}", "zqx" * 3000),
    *("true", "null", "<script>alert(1)</script>", "%ff%fe", "\u202e2", "file:///etc/passwd"),
)


def address_of(path: str, **values: str) -> str:
    """A route's address with its placeholders filled."""
    return re.sub(r"\{(\w+)(?::\w+)?\}", lambda name: values.get(name[1], GOOD.get(name[1], "1")), path)


def tables(store: Store, tmp_path: object) -> object:
    """Checksums of every table."""
    return write_archive(store, store.home / "looked-at.zip")["tables"]


def test_no_form_is_carried_out_without_the_token_of_this_browser(
    store: Store, client: TestClient, counted: Callable[..., None]
) -> None:
    fill(store)
    client.get("/adverts/new")
    before = tables(store, None)
    routes = [route for route in every_route(client.app) if "POST" in methods_of(route)]
    forms = [route.path for route in routes if not route.path.startswith("/api/")]
    assert len(forms) > 60
    for path in forms:
        for token in ("", "0" * 64, "é", "x" * 10_000):
            answer = client.post(address_of(path), data={"csrf": token, "name": "x", "amount": "1"})
            assert answer.status_code == 422, (path, answer.status_code)
            assert "another browser or too long ago" in answer.text, path
    for path in [route.path for route in routes]:
        for headers in (
            {"origin": "https://zqx.example"},
            {"sec-fetch-site": "cross-site"},
            {"origin": "null"},
        ):
            assert client.post(address_of(path), data={}, headers=headers).status_code == 403, path
    assert tables(store, None) == before
    others = {method for route in every_route(client.app) for method in methods_of(route)} - {
        "GET",
        "POST",
        "HEAD",
    }
    assert not others, "only posted forms change anything, and each was tried"
    counted(
        "forms without their token", routes=len(routes), tries=len(forms) * 4 + len(routes) * 3, carried_out=0
    )


def test_the_trial_notices_a_form_that_needs_no_token(
    store: Store, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("driveout.web.forms.hmac.compare_digest", lambda one, other: True)
    client.get("/adverts/new")

    answer = client.post("/adverts", data={"csrf": "", "name": "x", "currency": "USD", "asking": "900"})
    assert "another browser or too long ago" not in answer.text


def test_no_page_changes_anything_by_being_read(store: Store, client: TestClient) -> None:
    fill(store)
    before = tables(store, None)
    for route in every_route(client.app):
        if "GET" in methods_of(route):
            client.get(address_of(route.path))
            client.head(address_of(route.path))
    assert tables(store, None) == before


def test_no_path_and_no_question_leads_out(store: Store, clock: Clock, counted: Callable[..., None]) -> None:
    fill(store)
    tries = 0
    app = web_app(store)
    with TestClient(app, base_url="http://localhost:8321", raise_server_exceptions=False) as client:

        def look(address: str) -> None:
            nonlocal tries
            tries += 1
            answer = client.get(address)
            assert answer.status_code < 500, (address[:200], answer.text[:500])
            assert "root:" not in answer.text, address
            assert "SQLite format" not in answer.text, address
            assert "zqx" not in str(answer.headers.get("set-cookie")), address
            assert "zqx" not in " ".join(answer.headers), address

        for route in every_route(app):
            if "GET" not in methods_of(route):
                continue
            names = re.findall(r"\{(\w+)", route.path)
            for name in names:
                for bad in BAD:
                    look(
                        address_of(
                            route.path, **{name: quote(bad, safe="%/:;<>=") if "%" not in bad else bad}
                        )
                    )
            asked = [one.alias for one in route.dependant.query_params]
            for name in asked:
                for bad in BAD:
                    look(f"{address_of(route.path)}?{name}={quote(bad, safe='%')}")
        for bad in BAD:
            look(f"/static/{quote(bad, safe='%/')}")
            look(f"/{quote(bad, safe='%/')}")
        assert client.get("/").text.count("Linnet"), "the cars are still there"
    counted("paths and questions that lead out", tries=tries, got_out=0)


@pytest.mark.parametrize(
    "host",
    [
        *(
            "zqx.example",
            "zqx.example:8321",
            "localhost.zqx.example",
            "localhost@zqx.example",
            "127.0.0.1.zqx.example",
        ),
        *(
            "[::ffff:203.0.113.5]",
            "203.0.113.5",
            "0.0.0.0",
            "2130706433",
            "localhost\\.zqx",
            "",
            "driveout.local",
        ),
        *(
            "localhost/",
            "localhost#.zqx.example",
            "localhost:8321@zqx.example",
            "LOCALHOST.",
            "127.1",
            "0x7f.1",
        ),
    ],
)
def test_a_name_that_was_bent_to_this_machine_is_not_served(client: TestClient, host: str) -> None:
    """DNS rebinding: the browser sends the attacker's name (RFC 9110, 7.2), which is none of ours."""
    answer = client.get("/", headers={"host": host})

    assert answer.status_code == 421
    assert "set-cookie" not in answer.headers


def on_the_network(store: Store, address: str = "192.0.2.7") -> TestClient:
    """A phone on the network, as the server sees it (addresses of RFC 5737)."""
    where = Listening(("192.0.2.1",), ("192.0.2.1", "garage.local"))
    return TestClient(
        web_app(store, where),
        base_url="http://192.0.2.1:8321",
        client=(address, 50000),
        follow_redirects=False,
    )


def token_of(client: TestClient) -> str:
    return client.get("/pair").text.split('name="csrf" value="')[1].split('"')[0]


def test_nobody_on_the_network_sees_anything_before_pairing(
    store: Store, counted: Callable[..., None]
) -> None:
    fill(store)
    tries = 0
    with on_the_network(store) as phone:
        for route in every_route(phone.app):
            address = address_of(route.path)
            for headers in (
                {},
                {"x-forwarded-for": "127.0.0.1"},
                {"forwarded": "for=127.0.0.1"},
                {"host": "localhost"},
            ):
                for method in methods_of(route) & {"GET", "POST"}:
                    answer = phone.request(method, address, headers=headers)
                    tries += 1
                    if route.path not in ("/pair", "/manifest.webmanifest", "/favicon.ico"):
                        assert answer.status_code in (401, 403, 421), (
                            method,
                            address,
                            headers,
                            answer.status_code,
                        )
                    assert "Linnet" not in answer.text
        assert phone.get("/api/openapi.json").status_code == 401
    counted("addresses asked for by a phone that is not paired", tries=tries, shown=0)


def test_wrong_secrets_are_answered_ever_more_slowly(
    store: Store, clock: Clock, counted: Callable[..., None]
) -> None:
    with store.writing() as tx:
        person = crew.add_person(tx, "R. Sorrel", "hand", at=store.now())
        secret = crew.invite(tx, person.id, at=store.now())
    looked_at = slowed = 0
    with on_the_network(store) as phone:
        token = token_of(phone)
        for number in range(300):
            fields = {"csrf": token, "secret": f"AAAA{number:016}", "device": "phone"}
            status = phone.post("/pair", data=fields).status_code
            looked_at += status == 422
            slowed += status == 429
            clock.forward(seconds=1)
        clock.forward(days=-1)
        assert phone.post("/pair", data={"csrf": token, "secret": "B" * 20, "device": "x"}).status_code == 429
        clock.forward(days=1)
    assert looked_at <= 12, "five minutes of guessing get no more than a dozen looks"
    assert slowed == 300 - looked_at
    # The owner makes a new code; the right one still pairs from another address.
    with on_the_network(store, "192.0.2.9") as other:
        clock.forward(hours=1)
        with store.writing() as tx:
            secret = crew.invite(tx, person.id, at=store.now())
        answer = other.post("/pair", data={"csrf": token_of(other), "secret": secret, "device": "phone"})
        assert answer.status_code == 303
    counted("wrong pairing secrets", tries=301, looked_at=looked_at, slowed=slowed + 1)


def test_no_secret_stands_in_logs_pages_or_the_record(
    store: Store,
    caplog: pytest.LogCaptureFixture,
    capfd: pytest.CaptureFixture[str],
    counted: Callable[..., None],
) -> None:
    caplog.set_level(logging.DEBUG)
    with store.writing() as tx:
        person = crew.add_person(tx, "R. Sorrel", "hand", at=store.now())
        secret = crew.invite(tx, person.id, at=store.now())
    pages = []
    with on_the_network(store) as phone:
        token = token_of(phone)
        wrong = phone.post("/pair", data={"csrf": token, "secret": secret[:-1], "device": "phone"})
        pages.append(wrong.text)
        answer = phone.post("/pair", data={"csrf": token, "secret": secret, "device": "phone"})
        assert answer.status_code == 303
        cookie = answer.headers["set-cookie"]
        assert "httponly" in cookie.lower()
        assert "samesite=strict" in cookie.lower()
        key = cookie.split("=", 1)[1].split(";")[0]
        for path in ("/", "/nowhere", "/cars/99/money", "/settings"):
            pages.append(phone.get(path).text)
        phone.post("/adverts", data={"csrf": "wrong"})
    app = web_app(store)

    @app.get("/fault")
    def fault() -> None:
        raise RuntimeError("a fault of ours")

    with TestClient(app, base_url="http://localhost", raise_server_exceptions=False) as client:
        answer = client.get("/fault", headers={"cookie": f"driveout_device={key}"})
        assert answer.status_code == 500
        assert "Traceback" not in answer.text
        assert "a fault of ours" not in answer.text
    write_archive(store, store.home / "all.zip")
    import zipfile

    with zipfile.ZipFile(store.home / "all.zip") as archive:
        kept = b"".join(archive.read(name) for name in archive.namelist())
    said = capfd.readouterr()
    form_key = (store.home / "secret").read_bytes()
    assert (store.home / "secret").stat().st_mode & 0o077 == 0, "only the owner of the machine may read it"
    for name, hidden in (
        ("pairing", secret),
        ("pairing, half", secret[:-1]),
        ("phone", key),
        ("form", form_key.hex()),
    ):
        assert hidden not in caplog.text + said.out + said.err, f"the {name} secret is in the log"
        assert hidden not in "".join(pages), f"the {name} secret is on a page"
        assert hidden.encode() not in kept, f"the {name} secret is in the archive"
    assert form_key not in kept
    counted("secrets in logs, pages, archive", secrets=4, found=0)


def test_a_body_too_large_or_torn_is_refused(store: Store, counted: Callable[..., None]) -> None:
    with on_the_network(store) as phone:
        answer = phone.post("/pair", content=b"x" * 1_000_000, headers={"content-type": "text/plain"})
        assert answer.status_code in (413, 422)
    with TestClient(web_app(store), base_url="http://localhost") as client:
        client.get("/adverts/new")
        tries = 0
        for body, kind in (
            (b"x" * 26_000_000, "application/x-www-form-urlencoded"),
            (b"a=1&" * 20_000, "application/x-www-form-urlencoded"),
            (b"--b\r\nContent-Disposition: form-data", "multipart/form-data; boundary=b"),
            (b"\x00\xff" * 500, "multipart/form-data"),
            (b"[" * 200_000, "application/json"),
            (b"", "application/json"),
        ):
            for path in ("/adverts", "/cars/1/money/receipt", "/api/weigh"):
                answer = client.post(path, content=body, headers={"content-type": kind})
                assert 400 <= answer.status_code < 500, (path, kind, answer.status_code)
                tries += 1
    counted("bodies too large or torn", tries=tries, accepted=0)
