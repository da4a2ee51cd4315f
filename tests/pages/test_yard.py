"""The yard and the trail."""

from __future__ import annotations

import pytest

from driveout.demo.actions import fill
from driveout.store import Store
from tests.conftest import Browser


def test_an_empty_yard_teaches_what_to_do(browser: Browser) -> None:
    page = browser.get("/")

    assert "No car yet" in page
    assert 'href="/adverts/new"' in page


def test_the_yard_shows_each_car_with_its_next_step_and_its_strip(browser: Browser, store: Store) -> None:
    fill(store)
    page = browser.get("/")

    assert "Tarnwick Linnet 1.4, 2013, blue" in page
    assert "<strong>Next:</strong>" in page
    assert "<svg" in page
    assert "Pipit" not in page
    assert "Pipit" in browser.get("/?finished=true")


@pytest.mark.parametrize("path", ["/cars/2/trail"])
def test_a_page_is_drawn(browser: Browser, store: Store, path: str) -> None:
    fill(store)

    assert "<h1>" in browser.get(path)


def test_a_car_opens_at_the_chapter_of_its_next_step(browser: Browser, store: Store) -> None:
    fill(store)

    answer = browser.client.get("/cars/2", follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/cars/2/viewing"


def test_the_trail_of_a_finished_car_tells_its_story(browser: Browser, store: Store) -> None:
    fill(store)
    page = browser.get("/cars/1/trail")

    for words in ("Bought for 780.00 USD", "Core back", "Sold for 2,350.00 USD", "Closed: profit"):
        assert words in page


def test_the_parts_chapter_judges_a_used_engines_compression(browser: Browser, store: Store) -> None:
    fill(store)

    assert "Check list" in browser.get("/cars/2/parts")
    assert "Leave it" in browser.get("/cars/2/parts?compression=12.0+8.0+11.9+12.1")
    answer = browser.client.get("/cars/2/parts?compression=twelve")
    assert answer.status_code == 422
    assert "not a number" in answer.text
