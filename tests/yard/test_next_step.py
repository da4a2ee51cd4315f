"""Each car names the one thing it needs next."""

from __future__ import annotations

import pytest

from driveout.units import Money
from driveout.yard import Situation, next_step


def usd(amount: int) -> Money:
    return Money(amount * 100, "USD")


@pytest.mark.parametrize(
    ("now", "what"),
    [
        (Situation(1, "advert", missing="the mileage is missing"), "Complete the advert"),
        (Situation(1, "advert", usd(1450), usd(-100)), "Walk away"),
        (Situation(1, "advert", usd(1450), usd(900)), "Check it, or offer less"),
        (Situation(1, "viewing", usd(1450), usd(900), checks_done=3), "Offer less, or walk"),
        (Situation(1, "advert", usd(1450), usd(1900)), "Go and check it"),
        (Situation(1, "viewing", usd(1450), usd(1900), checks_done=2), "Decide"),
        (Situation(1, "bought"), "Choose the repairs"),
        (Situation(1, "in work", repairs_chosen=2, steps_left=4, links_open=3), "Go on with the work"),
        (Situation(1, "in work", repairs_chosen=2, cores_open=1), "Fetch the core deposit"),
        (Situation(1, "in work", repairs_chosen=2), "Value the car"),
        (Situation(1, "in work", repairs_chosen=2, comparables=5), "Make the asking plan"),
        (Situation(1, "in work", repairs_chosen=2, comparables=5, planned=True), "Put it up for sale"),
        (Situation(1, "for sale"), "Make the asking plan"),
        (Situation(1, "for sale", planned=True), "Look at the asking plan"),
        (Situation(1, "for sale", planned=True, offers_open=1), "Answer the offer"),
        (Situation(1, "sold"), "Close the books"),
        (Situation(1, "sold", closed=True, cores_open=1), "Fetch the core deposit"),
        (Situation(1, "sold", closed=True), "Nothing"),
        (Situation(1, "let go"), "Nothing"),
    ],
)
def test_the_next_step_follows_from_the_situation(now: Situation, what: str) -> None:
    step = next_step(now)

    assert step.what == what
    assert step.because
    assert step.link.startswith("/cars/1/")


def test_an_offer_comes_before_everything_and_a_closed_car_last() -> None:
    offer = next_step(Situation(1, "for sale", offers_open=1, planned=True))
    closed = next_step(Situation(2, "sold", closed=True))
    work = next_step(Situation(3, "bought"))

    assert offer.order < work.order < closed.order


def test_a_car_better_given_up_is_not_worked_on() -> None:
    now = Situation(
        4,
        "in work",
        repairs_chosen=2,
        steps_left=9,
        ending="Stop: scrapping it",
        ending_because="it brings more",
    )

    step = next_step(now)

    assert (step.what, step.link, step.gives_up) == ("Stop: scrapping it", "/cars/4/stop", True)


def test_an_offer_is_answered_before_a_car_is_given_up() -> None:
    now = Situation(
        4, "in work", offers_open=1, ending="Sell it as it stands", ending_because="it brings more"
    )

    assert next_step(now).what == "Answer the offer"
