"""The page of the file format holds one complete example, and names every quantity and topic."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

from driveout.wear import FAILS, judge_file
from driveout.wear.limits import QUANTITIES
from driveout.wear.topics import TOPICS

PAGE = Path(__file__).parents[2] / "docs/formats/limits.md"


def test_the_example_on_the_page_is_judged() -> None:
    text = re.search(r"```yaml\n(.*?)```", PAGE.read_text(), re.S)
    assert text
    judged = judge_file(text[1], "example.yaml", date(2030, 1, 1))
    pad = judged.of("corner", "front left")[0]

    # 20 000 km x (3.175 - 2.0) / (7.5 - 3.175), thinner pad each time
    assert pad.life is not None
    assert round(pad.life.km) == round(20_000 * (3.175 - 2.0) / (7.5 - 3.175))
    assert judged.of("engine")[0].outcome == FAILS
    assert judged.findings["w_paint_gauge"].positive


def test_the_page_names_every_quantity_and_topic() -> None:
    text = PAGE.read_text()

    assert all(f"`{quantity}`" in text for quantity in QUANTITIES)
    assert all(f"`{topic}`" in text for topic in TOPICS)
