"""The shipped repairs, and the person's own laid over them."""

from __future__ import annotations

from pathlib import Path

import pytest

from driveout.errors import BadEntry, BadRows
from driveout.faults import knowledge
from driveout.repairs import catalogue
from driveout.repairs.choose import now_or_later
from driveout.sources import cite
from driveout.workshop import SHIPPED, shipped_assembly

LAYOUTS = ("front_drive", "rear_drive")


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_cured_fault_is_known_to_the_fault_pack(layout: str) -> None:
    known = knowledge().faults
    cured = {fault for repair in catalogue(layout=layout).repairs.values() for fault in repair.cures}

    assert cured <= set(known)
    assert len(cured) > 50


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_assembly_and_target_named_by_a_repair_is_shipped(layout: str) -> None:
    held = catalogue(layout=layout)
    for repair in held.repairs.values():
        if repair.assembly:
            assert repair.assembly in SHIPPED
            assert set(repair.targets) <= set(shipped_assembly(repair.assembly).targets), repair.id
    for access in held.access.values():
        assert access.target in shipped_assembly(access.assembly).targets


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_repair_alone_takes_at_least_its_own_hours(layout: str) -> None:
    for repair in catalogue(layout=layout).repairs.values():
        assert repair.own_hours.likely <= repair.hours.likely
        assert repair.choices


def test_the_tools_a_repair_names_are_in_the_list() -> None:
    held = catalogue()
    for repair in held.repairs.values():
        assert set(repair.tools) <= set(held.tools), repair.id


def test_the_numbers_say_where_they_come_from() -> None:
    assert cite(catalogue().source).how_known == "recalled"
    assert "no source" in catalogue().basis


def test_the_layout_decides_which_clutch_repair_there_is() -> None:
    front = [repair.id for repair in catalogue().for_fault("drv_clutch_worn")]
    rear = [repair.id for repair in catalogue(layout="rear_drive").for_fault("drv_clutch_worn")]

    assert front == ["rep_clutch_fwd"]
    assert rear == ["rep_clutch_rwd"]


def test_money_is_in_minor_units() -> None:
    # 240 USD likely for a clutch kit: common practice, no source
    assert catalogue().repairs["rep_clutch_fwd"].choices["new"].money.likely == 24_000


def test_an_unknown_layout_is_refused() -> None:
    with pytest.raises(BadEntry, match="sideways"):
        catalogue(layout="sideways")


OWN = """schema: driveout-repairs/1
currency: USD
repairs:
  rep_clutch_fwd:
    name: Clutch, my price
    cures: [drv_clutch_worn]
    choices: {new: {money: [100, 150.5, 220]}}
    hours: [8, 12, 20]
    own_hours: [1, 2, 3]
    access: gearbox_out
    fixes: 0.95
"""


def test_own_entries_lie_over_the_shipped_ones() -> None:
    held = catalogue(OWN)

    assert held.repairs["rep_clutch_fwd"].name == "Clutch, my price"
    assert held.repairs["rep_clutch_fwd"].choices["new"].money.likely == 15_050
    assert len(held.repairs) == len(catalogue().repairs)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[8, 12, 20]", "[20, 12, 8]", "does not rise"),
        ("[8, 12, 20]", "twelve", "not an estimate"),
        ("0.95", "1.5", "not a share"),
        ("gearbox_out", "roof_off", "not an access group"),
        ("new:", "stolen:", "not known"),
        ("    own_hours: [1, 2, 3]\n", "", "needs own_hours"),
        ("    fixes", "    colour: red\n    fixes", "not known"),
    ],
)
def test_a_wrong_entry_is_refused_with_its_line(old: str, new: str, message: str) -> None:
    with pytest.raises(BadRows, match=message) as caught:
        catalogue(OWN.replace(old, new))

    assert caught.value.entries[0].place.startswith("repairs:")


def test_another_currency_is_refused() -> None:
    with pytest.raises(BadEntry, match="EUR"):
        catalogue(OWN.replace("USD", "EUR"))


def test_doing_the_rear_seal_now_saves_most_of_a_gearbox_job() -> None:
    item = catalogue().while_there["gearbox_out.also_rear_main"]
    advice = now_or_later(item, 1500)

    # 35 USD and 0.6 h now, against 0.20 x (35 USD and 14 h) later, at 15 USD an hour (by hand).
    assert advice.now == 3500 + 900
    assert advice.later == round(0.20 * (3500 + 21_000))
    assert advice.saving == 4900 - 4400
    assert advice.chance_to_break_even == pytest.approx(4400 / 24_500)


def test_a_chance_outside_its_range_is_refused() -> None:
    with pytest.raises(BadEntry, match="outside 0 to 1"):
        now_or_later(catalogue().while_there["gearbox_out.also_rear_main"], 0, chance_later=1.2)


LEFT_ON_PURPOSE = {
    "bod_collision": "a bent structure is a matter for a body shop with a measuring bench",
    "bod_flood": "walk away, or disclose and price it",
    "doc_brand": "a mark on the title stays",
    "doc_identity": "walk away and report it",
    "doc_odometer": "disclose it; the mileage cannot be mended",
}


def test_only_these_faults_have_no_repair_and_the_page_says_why() -> None:
    covered = {
        fault
        for layout in LAYOUTS
        for repair in catalogue(layout=layout).repairs.values()
        for fault in repair.cures
    }
    page = (Path(__file__).parents[2] / "docs/method/repairs.md").read_text()

    assert set(knowledge().faults) - covered == set(LEFT_ON_PURPOSE)
    for fault in LEFT_ON_PURPOSE:
        assert f"`{fault}`" in page


def test_work_that_can_hurt_carries_its_caution() -> None:
    repairs = catalogue().repairs
    for repair in repairs.values():
        for fault in repair.cures:
            if fault.startswith("fue_"):
                assert "fuel" in repair.cautions, repair.id
            if fault.startswith("hva_ac") or fault == "hva_compressor":
                assert "refrigerant" in repair.cautions, repair.id
            if fault == "ele_airbag_light":
                assert {"battery", "airbag"} <= set(repair.cautions), repair.id
            if fault in ("brk_master", "brk_line_rust", "brk_caliper_seized"):
                assert "brakes_safety" in repair.cautions, repair.id


def test_an_unknown_caution_is_refused_with_its_line() -> None:
    own = """schema: driveout-repairs/1
repairs:
  mine:
    name: Mine
    cures: [ele_battery]
    choices: {new: {money: [1, 2, 3]}}
    hours: [1, 2, 3]
    fixes: 1
    cautions: [dragons]
"""
    with pytest.raises(BadRows, match="no caution 'dragons'"):
        catalogue(own)
