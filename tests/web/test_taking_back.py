"""After an act the next page offers the way back, once; no "are you sure" before it."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from driveout.demo.actions import fill
from driveout.money.actions import minutes_by_work
from driveout.store import Store
from tests.conftest import Browser
from tests.crew.conftest import *  # noqa: F403 - the phones of the crew

HOURS = {"kind_of_work": "outside-work", "hours": "1.5", "hours_day": "2026-05-04"}


def offered(text: str) -> dict[str, str]:
    """Address and fields of the offer to take back."""
    box = text.split('class="done"', 1)[1].split("</form>", 1)[0]
    action = re.search(r'action="([^"]+)"', box)
    fields = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', box))
    assert action
    return {"action": action.group(1), **fields}


def sent(browser: Browser, offer: dict[str, str], status: int = 200) -> str:
    fields = {key: value for key, value in offer.items() if key not in ("csrf", "once", "path")}
    return browser.post(offer["path"], fields, status=status)


def booked_minutes(store: Store) -> float:
    with store.reading() as tx:
        return float(sum(minutes_by_work(tx, [2]).values()))


def test_hours_just_booked_are_taken_back_with_one_press(browser: Browser, store: Store) -> None:
    fill(store)
    before = booked_minutes(store)
    text = browser.post("/cars/2/money/hours", HOURS)
    assert booked_minutes(store) == before + 90

    offer = offered(text)
    browser.post(offer["action"], {"entry": offer["entry"], "why": offer["why"]})
    assert booked_minutes(store) == before


def test_the_offer_stands_on_one_page_only(browser: Browser, store: Store) -> None:
    fill(store)
    assert 'class="done"' in browser.post("/cars/2/money/hours", HOURS)

    assert 'class="done"' not in browser.get("/cars/2/money")


def test_a_refused_form_offers_nothing(browser: Browser, store: Store) -> None:
    fill(store)

    assert 'class="done"' not in browser.post("/cars/2/money/hours", {**HOURS, "hours": "x"}, status=422)


def test_taking_back_is_not_offered_to_be_taken_back(browser: Browser, store: Store) -> None:
    fill(store)
    offer = offered(browser.post("/cars/2/money/hours", HOURS))

    text = browser.post(offer["action"], {"entry": offer["entry"], "why": "x"})
    assert 'class="done"' not in text


def test_a_finding_and_a_step_can_be_taken_back_from_the_next_page(browser: Browser, store: Store) -> None:
    fill(store)
    from tests.web.test_two_versions import first_finding

    offer = offered(browser.post("/cars/2/faults/finding", first_finding(store)))
    assert offer["action"] == "/cars/2/faults/take-back"
    browser.post(offer["action"], {"row": offer["row"], "version": offer["version"]})

    begun = browser.post("/cars/2/work/start", {"area": "brakes_front_disc/pads_only"})
    job = begun.split('/bench"')[0].rsplit("/", 1)[1]
    bench = browser.get(f"/cars/2/work/{job}/bench")
    task = re.search(r'name="task" value="([^"]+)"', bench)
    assert task
    done = browser.post(f"/cars/2/work/{job}/task", {"action": "done", "task": task.group(1)})
    assert offered(done)["task"] == task.group(1)
    back = browser.post(f"/cars/2/work/{job}/task", {"action": "back", "task": task.group(1)})
    assert f'value="{task.group(1)}"' in back


@pytest.mark.parametrize("changed", [False, True])
def test_a_hand_takes_back_what_the_same_phone_booked_and_nothing_else(
    store: Store, owner: Browser, paired: Callable[[str, str], Browser], changed: bool
) -> None:
    fill(store)
    hand = paired("R. Sorrel", "hand")
    before = booked_minutes(store)
    offer = offered(hand.post("/cars/2/money/hours", HOURS))
    fields = {"entry": "1" if changed else offer["entry"], "why": offer["why"]}

    hand.post(offer["action"], fields, status=403 if changed else 200)
    assert booked_minutes(store) == (before + 90 if changed else before)
