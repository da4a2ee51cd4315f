"""One number at a time: the price that a changed number gives is that of a file which says the same."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from driveout.app import run
from driveout.errors import BadEntry
from driveout.faults import shipped_network
from driveout.hunt.sensitivity import Moved, moved_lines, sensitivity, typical_adverts
from driveout.hunt.setting import Setting
from driveout.hunt.weigh import weigh
from driveout.outlook import Rules
from driveout.units import Money

SETTING = Setting(Rules())
GASKET = "faults.eng_head_gasket.prior.sick"


@cache
def moved() -> dict[str, Moved]:
    """The advert with the blown head gasket, its two heaviest faults."""
    found = sensitivity([typical_adverts(SETTING, 2026)[2]], SETTING, most_faults=2)
    assert [m.width for m in found] == sorted((m.width for m in found), reverse=True)
    return {m.number.key: m for m in found}


def price(own_pack: str | None = None, own_repairs: str | None = None) -> float:
    """Walk-away price of the same advert with a file of one's own."""
    setting = Setting(Rules(), own_pack=own_pack, own_repairs=own_repairs)
    advert, findings = typical_adverts(SETTING, 2026)[2]
    found = weigh(
        advert, setting.rules, setting.network_of(advert), setting.repairs_of(advert),
        facts=setting.facts, findings=findings, with_swings=False, points=512,
    )  # fmt: skip
    return found.ceiling.price


def test_a_changed_chance_gives_the_price_of_an_own_pack_that_says_so() -> None:
    number = moved()[GASKET].number
    own = (
        "schema: driveout-pack/1\nweight: 5\nfaults: {eng_head_gasket: "
        f"{{prior: {{runner: 0.1, sick: {number.high!r}, dead: 0.1}}}}}}\n"
    )

    assert moved()[GASKET].prices[0][1] == pytest.approx(price(own_pack=own), abs=100)


def test_a_changed_sensitivity_gives_the_price_of_an_own_pack_that_says_so() -> None:
    key = "findings.b_gas_in_coolant.shows.eng_head_gasket"
    number = moved()[key].number
    shows = ", ".join(
        f"{fault}: {number.low if fault == 'eng_head_gasket' else row[0].mean!r}"
        for fault, row in _shows("b_gas_in_coolant").items()
    )
    own = f"schema: driveout-pack/1\nweight: 5\nfindings: {{b_gas_in_coolant: {{shows: {{{shows}}}}}}}\n"

    assert moved()[key].prices[0][0] == pytest.approx(price(own_pack=own), abs=100)


def _shows(finding: str) -> dict[str, Any]:
    from driveout.faults import knowledge

    return dict(knowledge().signs[finding].shows)


def test_dearer_and_longer_repairs_lower_the_price() -> None:
    repairs = [m for key, m in moved().items() if key.startswith(("repairs.", "access."))]

    assert repairs
    for one in repairs:
        assert one.prices[0][1] <= one.prices[0][0] + 1.0


def test_p10_and_p90_of_a_chance_are_those_of_its_beta() -> None:
    # Beta(1, 1) has its P10 at .1 and its P90 at .9, Beta(2, 1) at sqrt(.1) and sqrt(.9).
    from driveout.faults import Beta
    from driveout.hunt.sensitivity import _chance

    even, more = _chance("k", "n", Beta(1, 1), 1.0), _chance("k", "n", Beta(2, 1), 1.0)

    assert (even.low, even.high) == pytest.approx((0.1, 0.9))
    assert (more.low, more.high) == pytest.approx((0.1**0.5, 0.9**0.5))


def test_every_typical_advert_has_findings_that_its_network_knows() -> None:
    for advert, findings in typical_adverts(SETTING, 2026):
        network = shipped_network(advert.prior_class, None, advert.build)
        assert advert.symptoms
        for finding, outcome in findings.items():
            assert outcome in network.finding[finding].outcomes


def test_the_lines_name_the_number_and_where_it_stands() -> None:
    line = moved_lines(list(moved().values()), "USD", 1)[0]

    assert line.startswith("1. ")
    assert Money(round(next(iter(moved().values())).width), "USD").text() in line
    assert line.endswith("]")


def test_no_advert_is_refused() -> None:
    with pytest.raises(BadEntry, match="at least one advert"):
        sensitivity([], SETTING)


def test_the_command_lists_the_numbers_of_one_advert(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "advert.yaml"
    file.write_text(
        "schema: driveout-advert/1\nname: Linnet 1.4\nasking: 1650\nmade_year: 2013\nmileage: 148000 km\n"
        "title: clean\nruns: sick\nclean_value: {low: 4900, likely: 5400, high: 5900}\nsymptoms: [say_clutch]\n",
        encoding="utf-8",
    )
    words = [
        "--home",
        str(tmp_path / "h"),
        "sensitivity",
        str(file),
        "--faults",
        "1",
        "--most",
        "2",
        "--json",
    ]

    assert run(words) == 0
    numbers = json.loads(capsys.readouterr().out)["numbers"]
    assert len(numbers) == 2
    assert numbers[0]["swing_minor"] >= numbers[1]["swing_minor"] > 0
