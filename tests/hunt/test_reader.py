"""The reader is held to advert texts that were written before it was run on them.

The texts stand in adverts.toml: common practice, no source.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from driveout.hunt.reader import ReadAdvert, read_advert

PHRASES = tuple(
    (finding, phrase)
    for finding, many in {
        "clutch_slips": ["clutch slips"],
        "needs_clutch": ["needs clutch", "clutch on its way"],
        "clutch_pedal": ["clutch pedal to the floor"],
        "loses_coolant": ["loses coolant", "leaks coolant"],
        "head_gasket": ["head gasket"],
        "overheats": ["overheats", "runs hot"],
        "engine_light": ["check engine light on"],
        "needs_brakes": ["needs brakes", "brakes grind"],
        "battery": ["needs battery", "dead battery"],
        "timing_failed": ["timing belt snapped", "belt broke"],
        "gearbox_slips": ["transmission slips"],
        "rust": ["rust"],
        "dent": ["dents"],
        "burns_oil": ["burns oil"],
        "water_pump": ["water pump"],
        "rod_knock": ["rod knock"],
        "turbo": ["turbo"],
        "alternator": ["alternator"],
        "starter": ["starter"],
    }.items()
    for phrase in many
)
ADVERTS: list[dict[str, Any]] = tomllib.loads(
    (Path(__file__).parent / "adverts.toml").read_text(encoding="utf-8")
)["advert"]


def read(entry: dict[str, Any]) -> ReadAdvert:
    return read_advert(entry["text"], phrases=PHRASES, today_year=2026, currency=entry.get("currency", "USD"))


def price_text(found: ReadAdvert) -> str:
    price = found.first("asking")
    if price is None:
        return "none"
    return price.value.text().replace(",", "").replace(".00", "")  # type: ignore[union-attr]


@pytest.mark.parametrize("entry", ADVERTS, ids=[a["name"] for a in ADVERTS])
def test_an_advert_is_read_as_its_writer_meant_it(entry: dict[str, Any]) -> None:
    found = read(entry)
    wrong: list[str] = []

    def expect(what: str, wanted: object, got: object) -> None:
        if wanted != got:
            wrong.append(f"{what}: wanted {wanted!r}, read {got!r}")

    assert found.advert().currency == found.currency  # every reading makes an advert that can be kept
    if "asking" in entry:
        expect("price", entry["asking"], price_text(found))
    if "asking_any" in entry and price_text(found) not in entry["asking_any"]:
        wrong.append(f"price: wanted one of {entry['asking_any']}, read {price_text(found)}")
    if "asks_about" in entry and not any(entry["asks_about"] in q for q in found.questions):
        wrong.append(f"no question {entry['asks_about']!r} in {found.questions}")
    for key, what in (("year", "made_year"), ("km", "mileage_km"), ("title", "title"), ("runs", "runs")):
        if key in entry:
            item = found.first(what)
            expect(what, entry[key] or None, None if item is None else item.value)
    symptoms = found.all("symptom")
    said = {str(s.value) for s in symptoms if s.said == "yes" and not s.hedged}
    denied = {str(s.value) for s in symptoms if s.said == "no"}
    hedged = {str(s.value) for s in symptoms if s.said == "yes" and s.hedged}
    repaired = {str(s.value) for s in found.all("repaired")}
    traps = {str(t.value) for t in found.all("trap")}
    for key, got in (
        ("yes", said),
        ("no", denied),
        ("hedged", hedged),
        ("repaired", repaired),
        ("traps", traps),
    ):
        missing = set(entry.get(key, [])) - got
        if missing:
            wrong.append(f"{key}: {sorted(missing)} not among {sorted(got)}")
    if missing := set(entry.get("yes_or_hedged", [])) - said - hedged:
        wrong.append(f"yes or hedged: {sorted(missing)} missing")
    if extra := set(entry.get("not", [])) & (said | hedged):
        wrong.append(f"read but not said: {sorted(extra)}")
    if extra := set(entry.get("no_traps", [])) & traps:
        wrong.append(f"trap without reason: {sorted(extra)}")

    assert not wrong, "; ".join(wrong)
