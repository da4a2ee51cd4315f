import json
import re
from pathlib import Path
from typing import Any

import pytest

from driveout.errors import BadEntry
from driveout.outlook import case_from_file, case_result

PAGE = Path(__file__).parents[2] / "docs" / "formats" / "car-case.md"
PLAIN: dict[str, Any] = {
    "schema": "driveout-car-case/1",
    "currency": "USD",
    "value": [900, 1000, 1100],
    "chances": {"slip": 0.5},
    "costs": {"slip": {"money": 100, "hours": 10}},
    "rules": {"chosen": ["wage"], "wage_per_hour": 10},
}


def read(**changes: Any) -> dict[str, Any]:
    return case_result(case_from_file(json.dumps({**PLAIN, **changes})))


def test_the_example_of_the_format_page_runs() -> None:
    example = re.search(r"```yaml\n(.*?)```", PAGE.read_text(), re.DOTALL)
    assert example is not None

    result = case_result(case_from_file(example.group(1), "page"))

    assert result["binding_rule"] in ("wage", "loss")
    assert result["walk_away_minor"] > 0
    assert result["chances"]["clutch"] > 0.5


def test_a_plain_case_is_what_paper_says() -> None:
    # resale mean m of the lognormal with these two points, less .5 x 100 and .5 x 10 h at 10
    import math

    sigma = math.log(1100 / 900) / (2 * 1.2815515655446004)
    mean = math.sqrt(900 * 1100) * math.exp(sigma**2 / 2)

    assert read()["walk_away_minor"] == math.floor(100 * (mean - 50 - 50) + 1e-6)


def test_faults_that_exclude_each_other_share_one_cause() -> None:
    result = read(chances={"noise": {"knock": 0.3, "tick": 0.6}}, costs={"knock": {"money": 500}})

    assert result["chances"] == pytest.approx({"knock": 0.3, "tick": 0.6})


def test_a_network_file_may_take_the_place_of_the_chances() -> None:
    network = json.dumps(
        {"schema": "driveout-network/1", "causes": {"slip": {"name": "Slip", "prior": 0.25}}, "findings": {}}
    )
    own = case_from_file(json.dumps(PLAIN), "case", network)

    assert own.chances == pytest.approx({"slip": 0.25})


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"value": None}, "value of the mended car"),
        ({"value": [0, 1, 2]}, "above 0"),
        ({"value": [3, 2, 1]}, "out of order"),
        ({"price": -5}, "price"),
        ({"chances": {"slip": 1.5}}, "0 to 1"),
        ({"chances": {"noise": {"a": 0.7, "b": 0.6}}}, "exclude each other"),
        ({"costs": {"glow": {"money": 5}}}, "no fault of this case"),
        ({"costs": {"slip": {"cash": 5}}}, "not a known key"),
        ({"costs": {"slip": {"money": [1, 5, 6], "law": "gamma"}}}, "bounded law"),
        ({"costs": {"slip": {"money": 5, "law": "triangle"}}}, "no law"),
        ({"costs": {"slip": {"money": 5, "opens": ["gearbox"]}}}, "access group"),
        ({"rules": {"wages": 5}}, "no rule"),
        ({"currency": "Dollar"}, "currency"),
        ({"always": {"x": 1}}, "must be a list"),
        ({"salvage": {"x": 1}}, "must be a list"),
        ({"colour": "red"}, "not a known key"),
        ({"network": {"causes": {"slip": {"name": "S", "prior": 0.2}}}, "evidence": {"glow": "yes"}}, "glow"),
    ],
)
def test_what_cannot_be_used_is_named_with_its_place(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(BadEntry, match=words) as found:
        read(**changes)
    assert "car case" in str(found.value)


def test_a_lognormal_cost_refuses_the_certainty_rule() -> None:
    result = read(costs={"slip": {"money": [50, 80, 300], "law": "lognormal"}})

    assert next(r for r in result["rules"] if r["rule"] == "certain")["price_minor"] is None


def test_shared_work_swap_and_ways_out_are_read() -> None:
    result = read(
        chances={"slip": 0.5, "leak": 0.5},
        costs={
            "slip": {"money": 10, "opens": ["out"], "swap": "unit", "forces_swap": True},
            "leak": {"money": 10, "opens": ["out"], "swap": "unit", "days": 3, "chance": 0.5},
        },
        access={"out": {"hours": 8}},
        swaps={"unit": {"money": 300}},
        always=[{"label": "Papers", "money": [10, 20, 30]}],
        salvage=[{"label": "scrap it", "money": 200, "hours": 1}],
        price=300,
        silence=True,
        points=512,
    )

    assert [line["label"] for line in result["outlook"]["lines"]][2:] == [
        "Papers",
        "slip",
        "leak",
        "out",
        "unit",
        "Letting it go where that is better: scrap it",
    ]
