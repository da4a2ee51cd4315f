"""Reading assemblies: what is accepted, and what is refused with file, line and key."""

from __future__ import annotations

from pathlib import Path

import pytest

from driveout.errors import BadEntry, BadRows
from driveout.sources import cite
from driveout.workshop import SHIPPED, read_assembly, shipped_assembly, strip, with_variants
from driveout.workshop.practice import caution, link_minutes

SMALL = """schema: driveout-assembly/1
id: small
name: Small
parts:
  body: {name: body, fixed: true}
  lid: {name: lid}
  pump: {name: pump}
links:
  lid_bolts: {kind: bolt, part: lid, to: body, count: 4}
  pump_bolts: {kind: bolt, part: pump, to: body, count: 2, after: [lid]}
"""


def refused(text: str, message: str) -> BadRows:
    with pytest.raises(BadRows, match=message) as caught:
        read_assembly(text, "own.yaml")
    return caught.value


def test_a_small_assembly_is_read_with_usual_minutes() -> None:
    assembly = read_assembly(SMALL, "own.yaml")

    assert list(assembly.parts) == ["body", "lid", "pump"]
    assert assembly.links["lid_bolts"].off_minutes == link_minutes("bolt", "top", 4)[0]
    assert assembly.links["lid_bolts"].name == "lid: 4 bolts to body"


def test_a_part_with_nothing_holding_it_is_named_with_its_line() -> None:
    error = refused(SMALL.replace("  pump_bolts", "  # pump_bolts"), "Nothing holds 'pump'")

    assert "own.yaml:7 parts.pump" in str(error)


def test_a_link_without_a_part_is_refused() -> None:
    refused(SMALL.replace("part: pump, ", ""), "names no part")


def test_a_link_to_an_unknown_part_is_refused() -> None:
    refused(SMALL.replace("part: pump", "part: pomp"), "'pomp', which is not a part")


def test_a_negative_duration_is_refused_with_the_allowed_range() -> None:
    error = refused(SMALL.replace("count: 2", "count: 2, off: -5"), "-5 minutes is outside 0 to")

    assert error.entries[0].place.startswith("own.yaml:10 links.pump_bolts.off")


def test_mutual_support_names_both_items() -> None:
    circle = SMALL.replace("count: 4}", "count: 4, after: [pump]}")

    refused(circle, "lid_bolts.*pump_bolts.*wait for one another in a circle")


def test_two_items_that_are_each_other_s_only_access_are_both_named() -> None:
    text = SMALL.replace("count: 4}", "count: 4, after: [pump_bolts]}").replace(
        "after: [lid]", "after: [lid_bolts]"
    )

    refused(text, "lid_bolts and pump_bolts each wait for the other")


def test_a_circle_is_accepted_when_the_person_wants_the_plan_as_far_as_it_holds() -> None:
    text = SMALL.replace("after: [lid]", "after: [pump]")
    assembly = read_assembly(text, "own.yaml", strict=False)

    assert strip(assembly, ["lid"]).released == ("lid_bolts", "lid")


def test_waiting_for_a_fixed_part_is_refused() -> None:
    refused(SMALL.replace("after: [lid]", "after: [body]"), "fixed and never comes off")


def test_unknown_keys_kinds_and_events_are_all_told_at_once() -> None:
    text = SMALL.replace("kind: bolt, part: lid", "kind: rivet, part: lid, colour: red, needed_by: monday")

    assert len(refused(text, "3 entries").entries) == 3


def test_links_that_still_hold_cannot_be_written_by_hand() -> None:
    refused(SMALL + "holds:\n  h: {event: move, items: [{cutset: all}]}\n", "not written by hand")


def test_a_torn_file_says_the_line() -> None:
    with pytest.raises(BadEntry, match="torn") as caught:
        read_assembly(SMALL + "  broken: [", "own.yaml")

    assert "own.yaml:" in caught.value.place


def test_another_schema_is_refused() -> None:
    with pytest.raises(BadEntry, match="driveout-assembly/1"):
        read_assembly(SMALL.replace("assembly/1", "network/1"), "own.yaml")


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_assembly_holds_in_every_variant(name: str) -> None:
    assembly = shipped_assembly(name)
    for variants in ((), *((variant,) for variant in assembly.variants)):
        plan = strip(assembly, list(assembly.targets), variants=variants)

        assert plan.links
        assert plan.is_proven


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_assembly_shows_the_rule_of_the_maker_and_sources_for_its_cautions(name: str) -> None:
    assembly = shipped_assembly(name)

    assert "maker_rules" in assembly.cautions
    cite(assembly.source)
    for key in assembly.cautions:
        cite(caution(key).source)


@pytest.mark.parametrize("name", SHIPPED)
def test_no_shipped_assembly_carries_a_tightening_value(name: str) -> None:
    path = Path(__file__).parents[2] / "src/driveout/workshop/data" / f"{name}.yaml"

    assert not any(unit in path.read_text() for unit in ("N·m", "Nm", "lbf"))


def test_a_variant_brings_its_links_and_drops_others() -> None:
    plain = with_variants(shipped_assembly("clutch_front_drive"))
    inside = with_variants(shipped_assembly("clutch_front_drive"), ["slave_inside"])

    assert "slave_line" not in plain.links
    assert "slave_line" in inside.links
    assert "slave_bolts" not in inside.links


def test_an_unknown_variant_is_refused() -> None:
    with pytest.raises(BadEntry, match="no variant 'diesel'"):
        with_variants(shipped_assembly("cooling"), ["diesel"])


def test_an_unknown_assembly_names_the_known_ones() -> None:
    with pytest.raises(BadEntry, match="no assembly") as caught:
        shipped_assembly("gearbox")

    assert "clutch_front_drive" in caught.value.allowed
