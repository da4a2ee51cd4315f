"""The example of the format page is read and planned as it stands there."""

from __future__ import annotations

import re
from pathlib import Path

from driveout.workshop import read_assembly, strip

PAGE = Path(__file__).parents[2] / "docs/formats/assembly.md"


def test_the_example_of_the_page_is_a_whole_assembly() -> None:
    [example] = re.findall(r"```yaml\n(.*?)```", PAGE.read_text(), re.DOTALL)
    plan = strip(read_assembly(example, "assembly.md"), ["fan"])

    assert plan.released.index("glovebox") < plan.released.index("flap_side")
    assert plan.task("do:airbag_wait").kind == "wait"
    assert [renewal.what for renewal in plan.renewals] == ["heater fan"]
