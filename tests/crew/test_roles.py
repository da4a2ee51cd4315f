"""What a hand may do and what only the owner does."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from driveout.app import web_app
from driveout.crew.roles import HAND, OWN, OWNER, POSTS, NotYours, demand_role, needed_role, role_at
from driveout.demo.actions import fill
from driveout.store import Store
from tests.conftest import Browser

Paired = Callable[[str, str], Browser]


def writing_routes(store: Store) -> set[str]:
    app = web_app(store)
    found: set[str] = set()

    def walk(routes: list) -> None:
        for route in routes:
            if isinstance(route, APIRoute) and (route.methods or set()) - {"GET", "HEAD", "OPTIONS"}:
                found.add(route.path)
            inner = getattr(route, "routes", None) or getattr(
                getattr(route, "original_router", None), "routes", None
            )
            walk(inner or [])

    walk(list(app.routes))
    return found


def test_every_form_of_the_house_has_a_declared_role_and_every_role_a_form(store: Store) -> None:
    """A new form goes into crew/roles.py; until then only the owner can send it."""
    found = writing_routes(store)

    assert len(found) > 80
    assert found == set(POSTS)


def test_a_form_that_nobody_declared_is_the_owners() -> None:
    assert needed_role("/something/new") == OWNER
    with pytest.raises(NotYours, match="for the owner"):
        demand_role(HAND, needed_role("/something/new"))


@pytest.mark.parametrize("needed", ["hand", "own", "owner"])
def test_a_stranger_may_send_nothing_but_the_pairing_form(needed: str) -> None:
    with pytest.raises(NotYours, match="Nothing was changed"):
        demand_role("stranger", needed, is_own=True)


def test_taking_back_a_step_is_taking_back() -> None:
    path = "/cars/{car_id}/work/{job_id}/task"

    assert needed_role(path, {"action": "done"}) == HAND
    assert needed_role(path, {"action": "back"}) == OWN


OWNERS = [
    ("/rules", {"currency": "USD", "version": "0"}),
    ("/cars/1/sale/ask", {"ask": "1"}),
    ("/cars/2/advert/buy", {"price": "1"}),
    ("/cars/1/money/sold", {"sale_price": "1"}),
    ("/cars/1/lookback/reopen", {}),
    ("/cars/1/work/1/file", {"text": ""}),
    ("/crew/person", {"name": "x", "role": "owner"}),
    ("/crew/invite", {"person": "1"}),
    ("/crew/take-away", {"device": "1"}),
    ("/crew/role", {"person": "1", "role": "owner", "version": "1"}),
    ("/knowledge", {}),
    ("/money/import", {}),
]


@pytest.mark.parametrize(("path", "fields"), OWNERS, ids=lambda part: str(part)[:30])
def test_a_hand_is_refused_what_is_the_owners(
    store: Store, paired: Paired, path: str, fields: dict[str, str]
) -> None:
    fill(store)
    hand = paired("R. Sorrel", "hand")

    answer = hand.post(path, fields, status=403)
    assert "owner" in answer


def test_a_hand_does_not_read_who_is_in_the_crew(paired: Paired) -> None:
    assert paired("R. Sorrel", "hand").client.get("/crew").status_code == 403


def test_an_owner_with_a_phone_may_what_the_owner_may(paired: Paired) -> None:
    assert "Add somebody" in paired("Odalys", "owner").get("/crew")


def test_a_hand_made_owner_may_from_the_next_request_on(owner: Browser, paired: Paired) -> None:
    hand = paired("R. Sorrel", "hand")
    owner.post("/crew/role", {"person": "1", "role": "owner", "version": "1"})

    assert hand.client.get("/crew").status_code == 200


def test_what_a_hand_books_stands_in_the_trail_with_the_name(
    store: Store, owner: Browser, paired: Paired
) -> None:
    fill(store)
    hand = paired("R. Sorrel", "hand")
    hand.post(
        "/cars/1/money/hours", {"kind_of_work": "outside-work", "hours": "1.5", "hours_day": "2026-05-04"}
    )

    with store.reading() as tx:
        from driveout.cars.actions import broken_trails, trail_of

        assert trail_of(tx, 1)[0].data["by"] == "R. Sorrel"
        assert broken_trails(tx) == {}
    assert "R. Sorrel" in owner.get("/cars/1/trail")


def test_a_change_outside_any_car_says_who(owner: Browser, served: TestClient) -> None:
    owner.post("/crew/person", {"name": "R. Sorrel", "role": "hand"})

    assert "/crew/person" in owner.get("/crew")


def test_own_acts_only(store: Store) -> None:
    demand_role(HAND, OWN, is_own=True)
    with pytest.raises(NotYours, match="same phone"):
        demand_role(HAND, OWN)


def test_forms_of_the_owner_are_not_drawn_for_a_hand(store: Store, owner: Browser, paired: Paired) -> None:
    fill(store)
    hand = paired("R. Sorrel", "hand")
    for path in ("/cars/2/money", "/cars/2/advert", "/rules", "/cars/2/repairs", "/money"):
        text = hand.get(path)
        actions = re.findall(r'<form method="post" action="([^"]+)"', text)
        assert all(role_at(action) != OWNER for action in actions), (path, actions)
    assert "for the owner" in hand.get("/rules")
    assert 'action="/rules"' in owner.get("/rules")


@pytest.mark.parametrize(
    ("address", "role"),
    [
        ("/cars/12/sale/ask", OWNER),
        ("/cars/12/money/hours?x=1", HAND),
        ("/cars/12/wear/limits", OWNER),
        ("/cars/12/wear/tyres", HAND),
        ("/cars/12/wear/paint/front-left", HAND),
        ("/cars/12/wear/tyres/../limits", OWNER),
        ("/nowhere", OWNER),
    ],
)
def test_an_address_needs_the_role_of_its_route(address: str, role: str) -> None:
    assert role_at(address) == role
