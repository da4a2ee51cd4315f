"""Phones on the network: who gets in, how, and who does not."""

from __future__ import annotations

import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
import sqlalchemy as sa
from starlette.testclient import TestClient

from driveout.crew.pairing import tidied
from driveout.store import Store
from tests.conftest import Browser, Clock
from tests.crew.conftest import HOST, code_for, csrf, try_pairing

Phones = Callable[..., TestClient]
Paired = Callable[[str, str], Browser]


def test_a_phone_that_is_not_paired_is_told_how_to_pair_and_sees_nothing(
    served: TestClient, phone_at: Phones
) -> None:
    for path in ("/", "/cars/1/money", "/crew", "/settings", "/api/openapi.json", "/nowhere", "/sw.js"):
        answer = phone_at().get(path)

        assert answer.status_code == 401, path
        assert "not paired" in answer.text
        assert "Crew" in answer.text
        assert "no-store" in answer.headers["cache-control"]


def test_the_machine_itself_needs_no_code(owner: Browser) -> None:
    assert "Add somebody" in owner.get("/crew")


@pytest.mark.parametrize(
    ("address", "headers"),
    [
        ("192.0.2.50", {"host": "localhost:8321"}),
        ("127.0.0.1", {"host": f"{HOST}:8321"}),
        ("127.0.0.1", {"host": "localhost:8321", "x-forwarded-for": "192.0.2.50"}),
        ("127.0.0.1", {"host": "localhost:8321", "forwarded": "for=192.0.2.50"}),
        ("192.0.2.50", {"host": "localhost:8321", "x-forwarded-for": "127.0.0.1"}),
        ("", {"host": "localhost:8321"}),
    ],
)
def test_nobody_becomes_the_owner_by_saying_that_he_sits_at_the_machine(
    phone_at: Phones, address: str, headers: dict[str, str]
) -> None:
    assert phone_at(address).get("/", headers=headers).status_code == 401


@pytest.mark.parametrize(
    "host", ["evil.example", "192.0.2.11:8321", "garage.evil.example", "192.0.2.10.evil"]
)
def test_on_the_network_too_only_own_names_are_served(phone_at: Phones, host: str) -> None:
    assert phone_at().get("/pair", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["192.0.2.10:8321", "garage:8321", "GARAGE.local:8321"])
def test_every_own_name_leads_to_the_pairing_page(phone_at: Phones, host: str) -> None:
    assert phone_at().get("/pair", headers={"host": host}).status_code == 200


def test_a_code_pairs_one_phone_once(owner: Browser, phone_at: Phones) -> None:
    code = code_for(owner, "M. Penhalow", "hand")

    first, second = phone_at(), phone_at("192.0.2.51")
    assert try_pairing(first, code.lower().replace("-", " ")) == 303
    assert first.get("/").status_code == 200
    assert try_pairing(second, code) == 422
    assert second.get("/").status_code == 401


def test_a_code_ends_after_ten_minutes(owner: Browser, phone_at: Phones, clock: Clock) -> None:
    code = code_for(owner, "M. Penhalow", "hand")
    clock.forward(minutes=10)

    assert try_pairing(phone_at(), code) == 422


def test_a_new_code_for_the_same_person_ends_the_old_one(owner: Browser, phone_at: Phones) -> None:
    code = code_for(owner, "M. Penhalow", "hand")
    owner.post("/crew/invite", {"person": "1"})

    assert try_pairing(phone_at(), code) == 422


def test_wrong_codes_are_slowed_down_and_the_right_one_must_wait_as_well(
    owner: Browser, phone_at: Phones, clock: Clock
) -> None:
    code = code_for(owner, "M. Penhalow", "hand")
    phone = phone_at()
    answers = [try_pairing(phone, "WRONG") for _ in range(6)]
    assert answers == [422, 422, 422, 429, 429, 429]
    waiting = phone.post("/pair", data={"csrf": csrf(phone, "/pair"), "secret": code, "device": "x"})
    assert waiting.status_code == 429
    assert int(waiting.headers["retry-after"]) >= 1
    assert tidied(code) not in waiting.text

    clock.forward(seconds=1)
    assert try_pairing(phone, code) == 303


def test_a_phone_taken_away_gets_nothing_from_that_moment(owner: Browser, paired: Paired) -> None:
    phone = paired("M. Penhalow", "hand")
    assert phone.client.get("/").status_code == 200
    owner.post("/crew/take-away", {"device": "1"})

    assert phone.client.get("/").status_code == 401


def test_whoever_leaves_the_crew_loses_every_phone(owner: Browser, paired: Paired) -> None:
    phone = paired("M. Penhalow", "owner")
    owner.post("/crew/part", {"person": "1", "version": "1"})

    assert phone.client.get("/").status_code == 401
    assert "Penhalow" in owner.get("/crew")


def test_a_phone_can_unpair_itself_and_forgets_what_it_kept(paired: Paired) -> None:
    phone = paired("M. Penhalow", "hand")
    answer = phone.client.post("/crew/leave", data={"csrf": phone.token()}, follow_redirects=False)

    assert "cache" in answer.headers["clear-site-data"]
    assert phone.client.get("/").status_code == 401


def test_the_key_of_a_phone_is_kept_from_scripts_and_only_its_hash_stands_in_the_record(
    owner: Browser, phone_at: Phones, store: Store
) -> None:
    phone = phone_at()
    code = code_for(owner, "M. Penhalow", "hand")
    answer = phone.post(
        "/pair",
        data={"csrf": csrf(phone, "/pair"), "secret": code, "device": "x"},
        follow_redirects=False,
    )
    cookie = answer.headers["set-cookie"]
    key = cookie.split("driveout_device=")[1].split(";")[0]
    assert "httponly" in cookie.lower()
    assert "samesite=strict" in cookie.lower()
    # 32 random bytes in base64 without padding have 43 signs (RFC 4648).
    assert len(key) == 43

    with store.reading() as tx:
        tables = sa.inspect(tx).get_table_names()
        everything = " ".join(
            str(tuple(row)) for name in tables for row in tx.execute(sa.text(f'SELECT * FROM "{name}"'))
        )
    assert key not in everything
    assert tidied(code) not in everything


def test_over_an_encrypted_way_the_cookies_never_travel_in_the_clear(
    store: Store, owner: Browser, phone_at: Phones
) -> None:
    phone = phone_at(base=f"https://{HOST}:8321")

    assert "secure" in phone.get("/pair").headers["set-cookie"].lower()


def test_neither_code_nor_key_is_written_to_any_log(
    owner: Browser, phone_at: Phones, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    code = code_for(owner, "M. Penhalow", "hand")
    phone = phone_at()
    assert try_pairing(phone, code) == 303
    key = phone.cookies.get("driveout_device")

    assert key
    assert tidied(code) not in caplog.text
    assert code not in caplog.text
    assert key not in caplog.text


def test_the_code_leads_to_an_address_that_keeps_the_secret_behind_the_hash_sign(
    owner: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    import segno

    drawn: list[str] = []
    make = segno.make

    def noted(content: str, **options: Any) -> object:
        drawn.append(content)
        return make(content, **options)

    monkeypatch.setattr(segno, "make", noted)
    code = code_for(owner, "M. Penhalow", "hand")

    # RFC 9110, 4.2.1 and RFC 3986, 3.5: the fragment is not sent to the server.
    assert drawn == [f"http://{HOST}:8321/pair#{tidied(code)}"]


def test_a_record_served_on_this_machine_only_pairs_nothing(browser: Browser) -> None:
    browser.post("/crew/person", {"name": "M. Penhalow", "role": "hand"})

    assert "serve --lan" in browser.post("/crew/invite", {"person": "1"}, status=422)


def test_a_form_from_another_site_pairs_nothing(owner: Browser, phone_at: Phones) -> None:
    code = code_for(owner, "M. Penhalow", "hand")
    phone = phone_at()
    data = {"csrf": csrf(phone, "/pair"), "secret": code, "device": "x"}

    assert phone.post("/pair", data=data, headers={"origin": "http://evil.example"}).status_code == 403
    assert phone.post("/pair", data={**data, "csrf": "0" * 64}).status_code == 422
    assert try_pairing(phone, code) == 303


def test_the_same_name_is_not_taken_twice(owner: Browser) -> None:
    owner.post("/crew/person", {"name": "R. Sorrel", "role": "hand"})

    assert "in the crew already" in owner.post(
        "/crew/person", {"name": "r. sorrel", "role": "hand"}, status=422
    )


@pytest.mark.parametrize("name", ["", " ", "x" * 81])
def test_a_person_needs_a_name_that_fits(owner: Browser, name: str) -> None:
    owner.post("/crew/person", {"name": name, "role": "hand"}, status=422)


def test_a_name_is_shown_as_text_only(owner: Browser) -> None:
    owner.post("/crew/person", {"name": "<script>alert(1)</script>", "role": "hand"})

    assert "<script>alert" not in owner.get("/crew")


def test_a_stranger_sends_no_more_than_a_code_and_a_name(phone_at: Phones) -> None:
    phone = phone_at()
    data = {"csrf": csrf(phone, "/pair"), "secret": "x" * 30_000, "device": "x"}

    assert phone.post("/pair", data=data).status_code == 413
    assert phone.post("/cars/1/money/receipt", content=b"x" * 30_000).status_code == 401


def test_a_body_that_stops_coming_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    import anyio

    from driveout.web import gate

    monkeypatch.setattr(gate, "SECONDS_BETWEEN_PIECES", 0.05)

    async def never() -> dict[str, Any]:
        await anyio.sleep(30)
        return {}

    async def ask() -> Any:
        return await gate._whole_body({}, never, 1000, 1000)

    with ThreadPoolExecutor(1) as apart:  # a driven browser may already run a loop in this thread
        trouble, _ = apart.submit(anyio.run, ask).result()
    assert trouble[0] == 408
