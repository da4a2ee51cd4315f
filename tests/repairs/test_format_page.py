"""The examples of the format page are read and answered as they stand there."""

from __future__ import annotations

import re
from pathlib import Path

from driveout.repairs import catalogue
from driveout.repairs.choice_file import answer_of, read_choice

PAGE = Path(__file__).parents[2] / "docs/formats/repair-choice.md"


def examples() -> list[str]:
    return re.findall(r"```yaml\n(.*?)```", PAGE.read_text(), re.DOTALL)


def test_the_choice_of_the_page_is_answered() -> None:
    answer = answer_of(read_choice(examples()[0], "repair-choice.md"))

    assert "front_brakes" in answer["choice"]["best"]["options"]
    assert answer["order"]["is_exact"]


def test_the_repair_list_of_the_page_lies_over_the_shipped_one() -> None:
    held = catalogue(examples()[1])

    assert held.repairs["rep_clutch_fwd"].name.startswith("Clutch kit from the shop")
