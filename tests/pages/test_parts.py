"""The chapter Parts: a refused offer shows what was typed at its own part only."""

from __future__ import annotations

import re
from decimal import Decimal

from driveout.cars.actions import add_car
from driveout.parts.actions import need_parts
from driveout.parts.part import PartLine
from driveout.store import Store
from tests.conftest import Browser, Clock


def test_a_refused_offer_is_open_at_its_part_and_no_other_form_shows_its_words(
    store: Store, clock: Clock, browser: Browser
) -> None:
    with store.writing() as tx:
        car = add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=clock(), stage="bought", facts={})
        lines = [PartLine("", what, Decimal(1), "") for what in ("front disc", "front pad set")]
        first, second = (part.id for part in need_parts(tx, car.id, lines, at=clock()))

    offer = {
        "part": str(second),
        "shop": "Quill and Daughter",
        "price": "eleven",
        "lead_days": "2",
        "condition": "new",
    }
    text = browser.post(f"/cars/{car.id}/parts/offer", offer, status=422)

    of_first, of_second = (
        text.split(f'<section id="part-{part}"')[1].split("</section>")[0] for part in (first, second)
    )
    assert "Quill and Daughter" not in of_first
    assert 'value="Quill and Daughter"' in of_second
    assert 'value="eleven"' in of_second
    assert re.search(r"<details[^>]* open><summary>Add an offer", of_second)
    assert not re.search(r"<details[^>]* open", of_first)
