import json
from dataclasses import replace
from functools import cache

import pytest

from driveout.errors import CannotSay
from driveout.faults import Network, shipped_network
from driveout.hunt.advert import Advert, MoneyRange, Symptom
from driveout.hunt.order import day_round
from driveout.hunt.setting import fault_facts
from driveout.hunt.weigh import Weighing, trip_of, weigh, weighing_as_data
from driveout.outlook import Rules
from driveout.repairs import catalogue
from driveout.units import Money

RULES = Rules(chosen=("wage", "loss"), loss_chance=0.2)


def usd(amount: int) -> Money:
    return Money(100 * amount, "USD")


ADVERT = Advert(
    name="Linnet 1.4, Brackenford",
    asking=usd(900),
    made_year=2013,
    mileage_km=168_000,
    title="clean",
    runs="sick",
    clean_value=MoneyRange(usd(4300), usd(4900), usd(5600)),
    symptoms=(Symptom("say_clutch"), Symptom("say_loses_coolant")),
    distance_km=40.0,
)


@cache
def network() -> Network:
    return shipped_network("sick", car={"mileage_km": 168_000, "gearbox": "manual", "drive": "fwd"})


def weighed(advert: Advert = ADVERT, rules: Rules = RULES, **findings: str) -> Weighing:
    return weigh(advert, rules, network(), catalogue(), findings=findings, with_swings=False)


def test_the_named_faults_stand_on_top_and_the_answer_is_in_sentences() -> None:
    found = weighed()
    chance = {c.fault: c.chance for c in found.causes}

    assert found.causes[0].fault in ("drv_clutch_worn", "eng_coolant_leak", "eng_head_gasket")
    assert chance["drv_clutch_worn"] > 0.8
    assert any("Walk away" in sentence for sentence in found.why)
    assert found.verdict in ("buy", "haggle", "walk")


def test_a_check_that_clears_a_dear_fault_raises_the_walk_away_price() -> None:
    assert weighed(b_gas_in_coolant="no").ceiling.price > weighed(b_gas_in_coolant="yes").ceiling.price


def test_at_the_walk_away_price_itself_the_verdict_is_buy_and_a_cent_over_it_is_not() -> None:
    limit = weighed().ceiling.money
    assert limit.minor > 0

    assert weighed(replace(ADVERT, asking=limit)).verdict == "buy"
    assert weighed(replace(ADVERT, asking=limit + Money(1, "USD"))).verdict != "buy"


def test_without_an_asking_price_there_is_a_walk_away_price_but_no_bid() -> None:
    found = weighed(replace(ADVERT, asking=None))

    assert found.verdict == "no price"
    assert found.bid is None
    assert found.ceiling.price == pytest.approx(weighed().ceiling.price)


def test_without_a_value_it_says_what_is_missing() -> None:
    with pytest.raises(CannotSay, match="value of the mended car") as found:
        weighed(replace(ADVERT, clean_value=None))
    assert found.value.missing == "clean_value"


def test_rules_in_another_currency_are_not_converted() -> None:
    with pytest.raises(CannotSay, match="never converted"):
        weighed(rules=Rules(currency="EUR"))


def test_a_salvage_title_lowers_the_walk_away_price() -> None:
    def limit(title: str) -> float:
        advert = replace(ADVERT, title=title)  # type: ignore[arg-type]
        facts = fault_facts()  # what a branded title takes off the sale
        found = weigh(advert, RULES, network(), catalogue(), facts=facts, with_swings=False)
        return found.ceiling.price

    assert limit("salvage") < limit("clean") - 10_000


def test_an_unknown_symptom_is_noted_and_left_out() -> None:
    found = weighed(replace(ADVERT, symptoms=(*ADVERT.symptoms, Symptom("say_singing"))))

    assert any("say_singing" in note for note in found.missing)
    assert found.ceiling.price == pytest.approx(weighed().ceiling.price)


def test_silence_is_not_the_same_as_a_denial() -> None:
    silent = weighed()
    denied = weighed(replace(ADVERT, symptoms=(*ADVERT.symptoms, Symptom("say_overheats", "no"))))

    def gasket(found: Weighing) -> float:
        return next(c.chance for c in found.causes if c.fault == "eng_head_gasket")

    assert gasket(denied) < gasket(silent)


def test_the_tornado_names_the_sale_price_and_the_dearest_faults() -> None:
    found = weigh(ADVERT, RULES, network(), catalogue(), with_swings=True)
    labels = [s.label for s in found.swings]

    assert "Sale price of the mended car" in labels
    assert any(label.startswith("Cost of: ") for label in labels)
    assert any(label.startswith("Chance of: ") for label in labels)


def test_the_data_are_plain_and_hold_the_same_cents() -> None:
    found = weighed()
    data = json.loads(json.dumps(weighing_as_data(found)))

    assert data["walk_away_minor"] == found.ceiling.money.minor
    assert data["outlook"]["profit_minor"]["p50"] == round(found.outlook.profit.middle)
    assert "silent" not in data["evidence"].values()


def test_lines_of_the_outlook_add_up_on_the_real_pack() -> None:
    outlook = weighed().outlook

    assert sum(line.profit_mean for line in outlook.lines) == pytest.approx(outlook.profit.mean, abs=0.01)
    assert sum(line.variance_share for line in outlook.lines) == pytest.approx(1.0)


def test_a_nearer_car_and_a_cheaper_car_are_seen_first() -> None:
    near = trip_of(weighed(replace(ADVERT, distance_km=5.0)), "near")
    far = trip_of(weighed(replace(ADVERT, distance_km=300.0)), "far")
    cheap = trip_of(weighed(), "cheap", price=10_000.0)

    assert far.hours > 12.0
    assert [t.name for t in day_round([far, near, cheap], 8.0).trips] == ["cheap", "near"]
    with pytest.raises(CannotSay, match="no price"):
        trip_of(weighed(replace(ADVERT, asking=None)), "silent")
