"""What is refused before any page sees it."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from tests.conftest import Browser


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8321", "localhost.evil.example", "127.0.0.1@evil.example", ""]
)
def test_another_host_name_is_not_served(client: TestClient, host: str) -> None:
    answer = client.get("/", headers={"host": host})

    assert answer.status_code == 421
    assert "not served here" in answer.text


@pytest.mark.parametrize(
    "headers", [{"origin": "https://evil.example"}, {"sec-fetch-site": "cross-site"}, {"origin": "null"}]
)
def test_a_write_from_another_site_is_refused(client: TestClient, headers: dict[str, str]) -> None:
    answer = client.post("/adverts/new", data={"text": "x"}, headers=headers)

    assert answer.status_code == 403


def test_a_form_without_its_token_is_refused(client: TestClient) -> None:
    client.get("/adverts/new")

    answer = client.post("/adverts", data={"name": "x", "csrf": "0" * 64})
    assert answer.status_code == 422
    assert "another browser or too long ago" in answer.text


def test_a_fifty_megabyte_upload_is_refused_in_words(client: TestClient) -> None:
    answer = client.post("/adverts/new", content=b"x" * 50_000_000, headers={"content-type": "text/plain"})

    assert answer.status_code == 413
    assert "50 MB" in answer.text


@pytest.mark.parametrize(
    "path", ["/", "/adverts/new", "/static/driveout.css", "/api/openapi.json", "/nowhere"]
)
def test_every_answer_carries_the_protecting_headers(client: TestClient, path: str) -> None:
    headers = client.get(path).headers

    assert "default-src 'none'" in headers["content-security-policy"]
    assert "unsafe" not in headers["content-security-policy"]
    assert "http" not in headers["content-security-policy"]
    assert headers["x-frame-options"] == "DENY"
    assert headers["x-content-type-options"] == "nosniff"


def test_the_visit_cookie_is_kept_from_scripts_and_other_sites(client: TestClient) -> None:
    cookie = client.get("/").headers["set-cookie"].lower()

    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_an_unknown_page_and_car_are_said_plainly(client: TestClient) -> None:
    assert client.get("/nowhere").status_code == 404
    answer = client.get("/cars/99/advert")
    assert answer.status_code == 404
    assert "no car number 99" in answer.text


def test_an_unknown_api_address_answers_in_the_one_error_shape(client: TestClient) -> None:
    assert set(client.get("/api/nowhere").json()["error"]) >= {"kind", "message"}


@pytest.mark.parametrize("path", ["/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py"])
def test_no_file_outside_the_static_folder_is_given_out(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_a_double_tap_counts_once(browser: Browser) -> None:
    page = browser.client.get("/adverts/new").text
    once = page.split('name="once" value="')[1].split('"')[0]
    fields = {
        "csrf": browser.token(),
        "once": once,
        "name": "Linnet",
        "currency": "USD",
        "asking": "1,450",
        "mileage": "98000",
        "mileage_unit": "mi",
        "title": "clean",
    }

    first = browser.client.post("/adverts", data=fields)
    second = browser.client.post("/adverts", data=fields)
    assert first.status_code == second.status_code == 200
    assert str(first.url) == str(second.url)
    assert browser.get("/").count("<li>\n    <h2>") == 1
