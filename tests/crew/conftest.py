"""A record that is served on a network, and phones on it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

import pytest
from starlette.testclient import TestClient

from driveout.app import web_app
from driveout.store import Store
from driveout.web.listening import Listening
from tests.conftest import Browser

HOST = "192.0.2.10"
WHERE = Listening((HOST,), (HOST, "garage", "garage.local"))


@pytest.fixture
def served(store: Store) -> Iterator[TestClient]:
    """The machine itself, while phones may reach it; its `app` is what the phones open too."""
    with TestClient(
        web_app(store, WHERE), base_url="http://localhost:8321", client=("127.0.0.1", 50000)
    ) as opened:
        yield opened


@pytest.fixture
def owner(served: TestClient) -> Browser:
    return Browser(served)


@pytest.fixture
def phone_at(served: TestClient) -> Callable[[str], TestClient]:
    """A phone on the network, not paired."""

    def make(address: str = "192.0.2.50", base: str = f"http://{HOST}:8321") -> TestClient:
        return TestClient(served.app, base_url=base, client=(address, 40000))

    return make


def csrf(client: TestClient, path: str) -> str:
    return client.get(path).text.split('name="csrf" value="')[1].split('"')[0]


def code_for(owner: Browser, name: str, role: str) -> str:
    """Add somebody and return a pairing code for them."""
    owner.post("/crew/person", {"name": name, "role": role})
    page = owner.get("/crew")
    person = re.search(rf'aria-label="Pair a phone for {name}".*?name="person" value="(\d+)"', page, re.S)
    assert person
    shown = owner.post("/crew/invite", {"person": person.group(1)})
    found = re.search(r'class="typed">([A-Z0-9-]+)<', shown)
    assert found
    return found.group(1)


def try_pairing(phone: TestClient, code: str, name: str = "phone") -> int:
    answer = phone.post(
        "/pair",
        data={"csrf": csrf(phone, "/pair"), "secret": code, "device": name},
        follow_redirects=False,
    )
    return answer.status_code


@pytest.fixture
def paired(owner: Browser, phone_at: Callable[..., TestClient]) -> Callable[[str, str], Browser]:
    """A phone paired for somebody with a role."""

    def make(name: str, role: str) -> Browser:
        phone = phone_at()
        assert try_pairing(phone, code_for(owner, name, role), f"{name}'s phone") == 303
        return Phone(phone)

    return make


class Phone(Browser):
    """A browser whose token page is one that a hand may open too."""

    def token(self) -> str:
        return csrf(self.client, "/settings")
