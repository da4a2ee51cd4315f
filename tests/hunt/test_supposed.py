"""What a seller only supposes ("might need a head gasket") is soft evidence."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import pytest
from starlette.testclient import TestClient

from driveout.errors import BadEntry
from driveout.faults import (
    SILENT,
    SUPPOSED,
    Beta,
    Cause,
    Finding,
    Link,
    Network,
    State,
    infer,
    shipped_network,
    use_fast,
)
from driveout.faults.actions import findings_of
from driveout.hunt import actions
from driveout.hunt.advert import Advert, MoneyRange, Symptom
from driveout.hunt.reader import read_advert
from driveout.hunt.setting import Setting
from driveout.hunt.weigh import Weighing, weigh
from driveout.outlook import Rules
from driveout.store import Store
from driveout.units import Money
from tests.conftest import Browser
from tests.pages.test_hunt import FACTS, kept, plain

SETTING = Setting(Rules())
ADVERT = Advert(
    asking=Money(165000, "USD"),
    runs="runner",
    clean_value=MoneyRange(Money(390000, "USD"), Money(440000, "USD"), Money(490000, "USD")),
)


@pytest.fixture(params=["numpy", "numba"])
def _either_way_of_summing(request: pytest.FixtureRequest) -> Iterator[None]:
    assert use_fast(request.param == "numba") == request.param
    yield
    use_fast(False)


def one_fault() -> Network:
    link = Link("clutch", (Beta.of(0.8),))
    said = Finding("said", "Slips", (link,), (Beta.of(0.1),), kind="advert", mention=Beta.of(0.5))
    seen = Finding("seen", "Slips on the hill", (link,), (Beta.of(0.1),))
    return Network((Cause("clutch", "Clutch", Beta.of(0.5), (State("worn"),)),), (said, seen), common=0.0)


def weighed(*symptoms: Symptom) -> Weighing:
    advert = replace(ADVERT, symptoms=symptoms)
    return weigh(
        advert,
        SETTING.rules,
        SETTING.network_of(advert),
        SETTING.repairs_of(advert),
        facts=SETTING.facts,
        with_swings=False,
    )


@pytest.mark.usefixtures("_either_way_of_summing")
def test_a_guess_weighs_nineteen_to_one_by_hand() -> None:
    # Stated with the fault: 1 - (1 - 0.5 * 0.8) (1 - 0.5 * 0.1) = 0.43, without it 0.05.
    # A guess: 19 * 0.43 + 0.57 = 8.74 and 19 * 0.05 + 0.95 = 1.90, on even chances.
    answer = infer(one_fault(), {"said": SUPPOSED})

    assert answer.faults["clutch"] == pytest.approx(8.74 / (8.74 + 1.90), abs=1e-12)


@pytest.mark.usefixtures("_either_way_of_summing")
def test_a_guess_is_the_two_answers_of_the_network_mixed() -> None:
    network = shipped_network("sick")
    rest = {"say_loses_coolant": "yes", "say_smoke_white": SILENT}
    rest = {name: label for name, label in rest.items() if name in network.finding}
    stated, silent, guess = (
        infer(network, {**rest, "say_clutch": label}) for label in ("yes", SILENT, SUPPOSED)
    )
    a, b = 19.0 * stated.evidence_probability, silent.evidence_probability

    for fault, chance in guess.faults.items():
        mixed = (a * stated.faults[fault] + b * silent.faults[fault]) / (a + b)
        assert chance == pytest.approx(mixed, abs=1e-12)


def test_a_guess_lowers_the_limit_but_less_than_a_statement() -> None:
    silent, guess, stated = (
        weighed(*symptoms).ceiling.price
        for symptoms in ((), (Symptom("say_clutch", hedged=True),), (Symptom("say_clutch"),))
    )

    assert stated < guess < silent


def test_a_denial_that_is_a_guess_counts_as_not_mentioned() -> None:
    guessed = weighed(Symptom("say_rust", "no", hedged=True))

    assert guessed.ceiling.price == pytest.approx(weighed().ceiling.price, rel=1e-9)
    assert guessed.ceiling.price < weighed(Symptom("say_rust", "no")).ceiling.price


def test_what_was_measured_is_never_a_guess() -> None:
    with pytest.raises(BadEntry, match="cannot be 'supposed'"):
        infer(one_fault(), {"seen": SUPPOSED})


def test_the_reader_hands_a_guess_on_as_a_guess() -> None:
    text = "2011 Linnet 1.4, runs. Might need a clutch. $900"
    advert = read_advert(text, phrases=SETTING.phrases, today_year=2026, currency="USD").advert(
        seen_on=date(2026, 5, 4)
    )

    assert set(advert.evidence.values()) == {SUPPOSED}


def test_a_kept_guess_gives_the_same_cents_as_the_json_door(
    browser: Browser, client: TestClient, store: Store
) -> None:
    car_id = kept(browser, store, symptom=["say_clutch:yes:hedged:might need a clutch"])
    with store.reading() as tx:
        assert {f.finding: f.outcome for f in findings_of(tx, car_id)} == {"say_clutch": SUPPOSED}
        advert = actions.advert_of(tx, car_id)
        limit = actions.weighing_of(tx, car_id, with_swings=False).ceiling.money
    assert advert.symptoms == (Symptom("say_clutch", "yes", True, "might need a clutch"),)
    assert "only supposed" in plain(browser.get(f"/cars/{car_id}/advert"))
    assert "(only supposed)" in plain(browser.get(f"/cars/{car_id}/faults"))

    answer = client.post(
        "/api/weigh",
        json={
            "advert": {
                "asking": FACTS["asking"],
                "made_year": 2013,
                "mileage": "148000 km",
                "title": "clean",
                "runs": "sick",
                "gearbox": "manual",
                "drive": "fwd",
                "is_turbo": False,
                "clean_value": [3900, 4400, 4900],
                "symptoms": [{"id": "say_clutch", "hedged": True, "words": "might need a clutch"}],
                "distance": "35 km",
            }
        },
    )

    assert answer.status_code == 200, answer.text
    assert answer.json()["walk_away_minor"] == limit.minor
    assert answer.json()["evidence"] == {"say_clutch": SUPPOSED, "say_brand": "no"}
