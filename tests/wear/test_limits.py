"""Limits: maker before regulation before general, recalled ones never alone, files with line and key."""

from __future__ import annotations

from dataclasses import replace

import pytest

from driveout.errors import BadEntry
from driveout.files import yaml_document
from driveout.sources import cite
from driveout.wear import CLOSE, FAILS, HOLDS, OPEN, Limit, judge, maker_limit, shipped_limits
from driveout.wear.limits import QUANTITIES, limits_of, place_name, read_limits
from driveout.wear.report import limits_in_force


def of(quantity: str) -> tuple[Limit, ...]:
    return limits_of(quantity, shipped_limits())


def test_the_makers_limit_decides_before_the_law_and_both_are_shown() -> None:
    maker = maker_limit("lining_mm", "least", "2 mm", "workshop manual, page 12")
    verdict = judge("pad", 1.8, "mm", (maker, *of("lining_mm")), place="us-wa")

    assert verdict.outcome == FAILS
    assert verdict.decided_by == maker
    assert "lining-wa" in [other.limit.key for other in verdict.others]


def test_the_law_decides_before_a_general_figure() -> None:
    verdict = judge("tread", 1.5, "mm", of("tread_mm"), place="eu")

    assert verdict.decided_by is not None
    assert verdict.decided_by.key == "tread-eu"


def test_a_rule_of_another_place_does_not_decide() -> None:
    verdict = judge("pad", 1.0, "mm", of("lining_mm"), place="us-wa")

    assert verdict.outcome == HOLDS
    assert "lining-gb" in [other.limit.key for other in verdict.others]


def test_without_a_place_the_strictest_read_rule_decides() -> None:
    verdict = judge("pad", 1.0, "mm", of("lining_mm"))

    assert verdict.outcome == FAILS
    assert verdict.decided_by is not None
    assert verdict.decided_by.key == "lining-gb"


def test_a_recalled_limit_alone_leaves_the_verdict_open_and_says_unverified() -> None:
    verdict = judge("cranking", 9.0, "v", [limit for limit in of("crank_v") if limit.decides])

    assert verdict.outcome == OPEN
    assert verdict.decided_by is None
    assert "unverified" in verdict.words


def test_a_warning_line_gives_close_and_the_failing_line_fails() -> None:
    assert judge("variation", 0.012, "mm", of("thickness_variation_mm")).outcome == HOLDS
    assert judge("variation", 0.020, "mm", of("thickness_variation_mm")).outcome == CLOSE
    assert judge("variation", 0.031, "mm", of("thickness_variation_mm")).outcome == FAILS


def test_a_reading_at_the_limit_itself_holds() -> None:
    limit = next(limit for limit in shipped_limits() if limit.key == "lining-wa")

    assert judge("pad", 25.4 / 32, "mm", [limit]).outcome == HOLDS
    assert judge("pad", 25.4 / 32 - 0.001, "mm", [limit]).outcome == FAILS


def test_no_limit_at_all_is_said() -> None:
    assert "No limit is known" in judge("disc", 20.0, "mm", of("disc_mm")).words


def test_every_shipped_limit_names_a_source_on_the_shelf_and_is_recalled_where_the_source_is() -> None:
    for limit in shipped_limits():
        source = cite(limit.source)
        assert source.title
        if limit.how_known == "read":
            assert source.how_known == "read", limit.key


def test_every_quantity_has_a_shipped_limit_or_is_the_makers_alone() -> None:
    shipped = {limit.quantity for limit in shipped_limits()}

    assert set(QUANTITIES) - shipped == {"disc_mm", "drum_mm", "lash_mm"}  # lash has its own table by wheel


def test_a_place_is_written_as_people_write_it() -> None:
    rows = {limit.key: limit for limit in shipped_limits()}

    assert rows["lining-wa"].short() == "rule in Washington: at least 1/32 in"
    assert rows["lining-gb"].short() == "rule in Great Britain: at least 1.5 mm"
    assert rows["tread-eu"].short() == "rule in the European Union: at least 1.6 mm"
    assert all(
        place_name(limit.jurisdiction)[:1].isupper() for limit in shipped_limits() if limit.jurisdiction
    )
    # A code of the person's own file is written in capitals, a name as typed.
    assert (place_name("nz"), place_name("ca-on"), place_name("Ontario")) == ("NZ", "CA-ON", "Ontario")


def test_an_own_limit_with_the_key_of_a_shipped_one_replaces_it() -> None:
    own = replace(maker_limit("tread_mm", "least", "2 mm", "county rule, page 3"), key="tread-us-md")
    keys = [limit.key for limit in limits_in_force([own])]

    assert keys[0] == "tread-us-md"
    assert keys.count("tread-us-md") == 1
    assert len(keys) == len(shipped_limits())
    assert limits_in_force([own], use_shipped=False) == (own,)


def test_an_axle_has_its_own_maker_limit() -> None:
    front = maker_limit("disc_mm", "least", "20 mm", "cast on the disc", "front")

    assert limits_of("disc_mm", [front], "front left") == (front,)
    assert limits_of("disc_mm", [front], "rear left") == ()


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"quantity": "disk_mm"}, "not a quantity"),
        ({"side": "about"}, "not a side"),
        ({"text": "twenty"}, "not a value"),
        ({"origin": " "}, "needs its origin"),
    ],
)
def test_a_makers_limit_that_cannot_be_used_is_refused(changes: dict[str, str], match: str) -> None:
    given = {"quantity": "disc_mm", "side": "least", "text": "20 mm", "origin": "disc"} | changes
    with pytest.raises(BadEntry, match=match):
        maker_limit(**given)


HEAD = "schema: driveout-limits/1\nlimits:\n"


@pytest.mark.parametrize(
    ("row", "match"),
    [
        ("  - {quantity: disk_mm, least: 20 mm, origin: x}", r"own.yaml:3 limits.0.quantity.*not a quantity"),
        ("  - {quantity: disc_mm, origin: x}", r"own.yaml:3 limits.0.*exactly one"),
        ("  - {quantity: disc_mm, least: 20 mm, most: 22 mm, origin: x}", "exactly one"),
        ("  - {quantity: disc_mm, least: twenty, origin: x}", r"limits.0.least"),
        ("  - {quantity: disc_mm, least: 20 mm}", "where it comes from"),
        ("  - {quantity: disc_mm, least: 20 mm, origin: x, kind: law}", r"limits.0.kind.*law"),
        ("  - {quantity: disc_mm, least: 20 mm, origin: x, colour: red}", "no key of a limit"),
        ("  - disc", "row of keys"),
        (
            "  - {key: a, quantity: disc_mm, least: 20 mm, origin: x}\n  - {key: a, quantity: drum_mm, most: 230 mm, origin: x}",
            "Two limits are called",
        ),
    ],
)
def test_a_bad_row_is_named_by_file_line_and_key(row: str, match: str) -> None:
    with pytest.raises(BadEntry) as caught:
        read_limits(yaml_document(HEAD + row + "\n", "own.yaml", "driveout-limits/1"))
    import re

    assert re.search(match, str(caught.value))
