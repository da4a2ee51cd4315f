from __future__ import annotations

import json
from dataclasses import replace

import pytest

from driveout.errors import BadEntry, BadRows
from driveout.files import yaml_document
from driveout.selling import SaleSituation, Spell, answer_offer, asking_plan, value_today
from driveout.selling.believed import demand_believed
from driveout.selling.chart import ChartStep, plan_svg
from driveout.selling.own_file import SCHEMA, situation_as_dict, situation_from_document
from driveout.selling.stopping import best_stop, value_of_offers
from driveout.units import Money


def usd(amount: float) -> Money:
    return Money(round(amount * 100), "USD")


SALE = SaleSituation(usd(5000), usd(3800), holding_per_day=usd(12))


def test_the_plan_asks_more_than_it_takes_and_takes_at_least_the_fallback() -> None:
    plan = asking_plan(SALE)

    assert plan.ask > plan.take_it > SALE.fallback
    assert all(step.ask >= step.take_it for step in plan.steps)
    assert plan.reasons[0].startswith(f"Ask {plan.ask.text()} now.")


def test_the_plan_only_ever_comes_down() -> None:
    plan = asking_plan(replace(SALE, fresh_gain=2.0, weekdays=(0.5, 0.5, 0.5, 0.5, 1, 2, 2), weekday=3))
    asks = [step.ask for step in plan.steps]

    assert asks == sorted(asks, key=lambda m: -m.minor)


def test_it_never_raises_what_is_asked_now() -> None:
    plan = asking_plan(replace(SALE, asked_now=usd(4500)))

    assert plan.ask == usd(4500)
    assert any("never raises" in reason for reason in plan.reasons)


def test_dear_waiting_brings_the_price_down() -> None:
    cheap, dear = asking_plan(SALE), asking_plan(replace(SALE, holding_per_day=usd(40)))

    assert dear.ask < cheap.ask
    assert dear.take_it < cheap.take_it


def test_when_waiting_costs_more_than_it_brings_it_says_to_sell_out() -> None:
    plan = asking_plan(replace(SALE, fallback=usd(4950), holding_per_day=usd(60)))

    assert plan.sell_out_now
    assert "not worth its cost" in plan.reasons[0]


def test_a_project_that_waits_makes_waiting_dearer() -> None:
    waits = replace(SALE, bottleneck="bay", next_cost=usd(2600), next_work_days=25.0)
    plan = asking_plan(waits)

    assert plan.next_project_per_day > usd(20)
    assert plan.ask < asking_plan(SALE).ask
    assert asking_plan(replace(waits, bottleneck="hours")).next_project_per_day == usd(0)


def test_silence_lowers_and_many_calls_raise_what_to_take() -> None:
    asked = replace(SALE, asked_now=usd(5400))
    quiet = asking_plan(replace(asked, spells=(Spell(usd(5400), 21, 0),)))
    busy = asking_plan(replace(asked, spells=(Spell(usd(5400), 21, 12),)))

    assert quiet.take_it < busy.take_it
    assert quiet.ask < busy.ask


def test_calls_at_two_prices_teach_how_price_sensitive_buyers_are() -> None:
    keen = demand_believed(replace(SALE, spells=(Spell(usd(5800), 20, 0), Spell(usd(4600), 20, 14))))
    calm = demand_believed(replace(SALE, spells=(Spell(usd(5800), 20, 7), Spell(usd(4600), 20, 7))))

    assert keen.enquiry_fall + keen.buy_fall > SALE.sensitivity > calm.enquiry_fall + calm.buy_fall


def test_fees_are_put_on_top_of_what_to_take() -> None:
    plan = asking_plan(replace(SALE, fee_share=0.05, fee_fixed=usd(100)))
    kept = plan.take_it.minor * 0.95 - 10_000

    assert plan.take_it > asking_plan(SALE).take_it - usd(60)
    assert kept == pytest.approx(plan.expected.minor, abs=1)


def test_a_doubtful_value_makes_one_take_less() -> None:
    assert value_today(replace(SALE, value_sd=0.15)) < value_today(SALE)


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("value", usd(0), "not above 0"),
        ("fallback", usd(-1), "below 0"),
        ("fallback", Money(380_000, "EUR"), "one currency"),
        ("deadline_days", 0, "expected 1 to 730"),
        ("sensitivity", 0.0, "expected 0.5 to 60"),
        ("step_days", 1, "daily changes bring almost nothing"),
        ("bottleneck", "luck", "not known"),
        ("weekdays", (1.0, 2.0), "seven factors"),
        ("asked_now", usd(0), "above 0"),
        ("spells", (Spell(usd(1), -3),), "0 or more"),
    ],
)
def test_an_impossible_sale_is_refused_with_the_reason(field: str, value: object, said: str) -> None:
    with pytest.raises(BadEntry, match=said):
        replace(SALE, **{field: value})  # type: ignore[arg-type]


def test_a_high_offer_is_accepted_a_middling_one_countered_a_low_one_declined() -> None:
    sale = replace(SALE, asked_now=usd(5500))
    take = answer_offer(sale, usd(5000)).take_it
    answers = [answer_offer(sale, usd(float(take.major) + d)).answer for d in (400, -100, -1200)]

    assert answers == ["accept", "counter", "decline"]


def test_the_regret_of_each_answer_is_what_it_gives_away() -> None:
    advice = answer_offer(SALE, usd(4500))

    assert advice.regret[advice.answer] == usd(0)
    assert all(regret >= usd(0) for regret in advice.regret.values())
    for answer in ("accept", "counter", "decline"):
        assert advice.worth[advice.answer] - advice.worth[answer] == advice.regret[answer]
    assert advice.worth["accept"] == usd(4500)


def test_the_counter_lies_above_the_offer_and_not_above_the_advert() -> None:
    advice = answer_offer(replace(SALE, asked_now=usd(4700)), usd(4400))

    assert usd(4400) <= advice.counter_at <= usd(4700)


def test_people_who_have_booked_to_look_make_it_worth_waiting() -> None:
    sale = replace(SALE, asked_now=usd(5500))

    assert (
        answer_offer(replace(sale, viewers_booked=3), usd(4500)).take_it
        > answer_offer(sale, usd(4500)).take_it
    )


@pytest.mark.parametrize(
    ("offer", "said"), [(Money(450_000, "EUR"), "priced in USD"), (usd(0), "not above 0")]
)
def test_an_offer_in_another_currency_or_of_nothing_is_refused(offer: Money, said: str) -> None:
    with pytest.raises(BadEntry, match=said):
        answer_offer(SALE, offer)


def test_accept_is_right_exactly_where_the_formula_turns() -> None:
    # own-reasoning, docs/method/asking.md: accept once z >= (1 - w) exp(z - 1); w = 0.3 turns at z = 0.3757.
    from driveout.selling.offers import counter_gain

    assert counter_gain(0.37, 1.0, 0.3) > 0.37
    assert counter_gain(0.38, 1.0, 0.3) < 0.38
    assert counter_gain(0.9, 1.0, 0.1) < 0.9
    assert counter_gain(0.99, 1.0, 0.0) > 0.99


def test_the_last_of_several_offers_is_always_taken() -> None:
    assert value_of_offers(lambda k: 0.0, 3, 7.0) == [7.0, 7.0, 7.0, 7.0]
    assert best_stop([[(1.0, 1.0)], [(3.0, 0.5), (0.0, 0.5)]]) == [1.5, 1.5, float("-inf")]


def test_an_own_file_reads_back_as_it_was_written() -> None:
    sale = replace(
        SALE,
        asked_now=usd(5200.5),
        spells=(Spell(usd(5200.5), 6.5, 2),),
        weekdays=(1.0,) * 7,
        bottleneck="cash",
    )
    text = json.dumps(situation_as_dict(sale))

    assert situation_from_document(yaml_document(text, "sale.json", SCHEMA)) == sale


def test_an_own_file_with_wrong_keys_names_each() -> None:
    text = f"schema: {SCHEMA}\nvalue: cheap\nfallbak: 3\nstep_days: 7.5\n"
    with pytest.raises(BadRows, match="4 entries") as caught:
        situation_from_document(yaml_document(text, "sale.yaml", SCHEMA))

    assert [e.place for e in caught.value.entries][:3] == [
        "sale.yaml:2 value",
        "sale.yaml:3 fallbak",
        "sale.yaml:4 step_days",
    ]


def test_a_value_out_of_range_in_an_own_file_names_its_line() -> None:
    text = f"schema: {SCHEMA}\nvalue: 5000\nfallback: 3000\ndeadline_days: 9999\n"
    with pytest.raises(BadEntry, match="expected 1 to 730") as caught:
        situation_from_document(yaml_document(text, "sale.yaml", SCHEMA))

    assert caught.value.place == "sale.yaml:4 deadline_days"


def test_the_chart_tells_in_words_what_it_draws() -> None:
    picture = plan_svg(
        [ChartStep(0, 7, usd(5000), usd(4500), usd(5000)), ChartStep(7, 14, usd(4800), usd(4300), usd(4600))],
        usd(3800),
    )

    assert 'role="img"' in picture
    assert "The ask goes from 5,000.00 USD on day 0 to 4,800.00 USD on day 7" in picture
    assert "style=" not in picture
