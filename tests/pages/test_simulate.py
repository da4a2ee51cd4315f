"""The page that plays invented owners."""

from __future__ import annotations

from tests.conftest import Browser


def test_the_form_is_drawn_and_nothing_is_played_unasked(browser: Browser) -> None:
    page = browser.get("/simulate")

    assert "<h1>Try ways of deciding</h1>" in page
    assert "What an own hour brought" not in page


def test_a_small_comparison_is_drawn_with_its_story(browser: Browser) -> None:
    page = browser.get("/simulate?rule=half-of-resale&owners=2&cars=1&seed=3")

    assert "What an own hour brought" in page
    assert 'role="img" aria-label="USD an own hour: driveout' in page
    assert "The truth: the seller would have taken" in page


def test_numbers_out_of_bounds_and_unknown_rules_are_named(browser: Browser) -> None:
    for query, said in (
        ("rule=half-of-resale&owners=500", "Owners"),
        ("rule=coin&owners=2&cars=1&seed=1", "no way of deciding"),
    ):
        answer = browser.client.get(f"/simulate?{query}")

        assert answer.status_code == 422
        assert said in answer.text
