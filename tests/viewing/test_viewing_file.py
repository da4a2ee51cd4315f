"""Reading a viewing over faults: the documented example works, and bad files say where and why."""

import json
import re
from pathlib import Path

import pytest

from driveout.errors import BadEntry
from driveout.viewing import plan_faults, read_viewing
from driveout.viewing.answers import viewing_as_data

DOCUMENT = Path(__file__).parents[2] / "docs" / "formats" / "decision.md"


def the_example() -> str:
    blocks = re.findall(r"```yaml\n(.*?)```", DOCUMENT.read_text(encoding="utf-8"), re.DOTALL)
    return str(next(block for block in blocks if "driveout-viewing/1" in block))


def test_the_documented_example_can_be_planned() -> None:
    case = read_viewing(the_example(), "mine.yaml")
    data = viewing_as_data(case, case.asking)

    assert json.loads(json.dumps(data)) == data
    assert data["first_step"] in data["planned"]
    assert data["ceiling"] > data["ceiling_without_checks"]
    assert len(case.prices) == 61
    assert plan_faults(case.viewing).value(1700.0) == pytest.approx(data["value"])


def test_the_network_may_stand_in_a_file_of_its_own() -> None:
    text, network = the_example().split("network:\n")
    own = "schema: driveout-network/1\n" + re.sub(r"(?m)^  ", "", network)
    apart = read_viewing(text, "mine.yaml", (own, "net.yaml"))

    inside = read_viewing(the_example())
    assert plan_faults(apart.viewing).value(1700.0) == plan_faults(inside.viewing).value(1700.0)


@pytest.mark.parametrize(
    ("before", "after", "complaint"),
    [
        ("resale: 2400 ", "resale: plenty ", "is not a number"),
        ("prices: [0, 3000]", "prices: [3000, 0]", "do not rise"),
        ("price_factor: 1.06", "price_factor: 0", "above 0"),
        ("costs: {clutch: 520", "cost: {clutch: 520", "not known here"),
        ("  hose: {prior: 0.2}", "  hose: {prior: 2}", "hose"),
        ("lose_deal: 0.02", "lost: 0.02", "not known here"),
    ],
)
def test_a_bad_entry_is_refused_with_its_line(before: str, after: str, complaint: str) -> None:
    assert before in the_example()

    with pytest.raises(BadEntry, match=complaint) as caught:
        read_viewing(the_example().replace(before, after), "mine.yaml")

    assert "mine.yaml:" in str(caught.value)
