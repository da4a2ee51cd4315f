import pytest

from driveout.errors import BadEntry
from driveout.outlook import Rules, default_rules, rules_as_data, rules_from


def test_rules_come_back_as_they_were_written() -> None:
    rules = rules_from(
        {"wage_per_hour": 18.5, "chosen": ["wage", "tail"], "sale_costs": [10, 20, 40], "outside_hours": 50}
    )

    assert rules.wage_per_hour == 1850
    assert rules.sale_costs.likely == 2000
    assert rules.outside_hours.is_sure
    assert rules_from(rules_as_data(rules)) == rules


def test_the_same_figures_count_in_a_currency_without_cents() -> None:
    assert default_rules("JPY").wage_per_hour == Rules().wage_per_hour / 100
    assert default_rules("USD") == Rules()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"wage": 3}, "no rule 'wage'"),
        ({"wage_per_hour": "much"}, "plain number"),
        ({"wage_per_hour": -1}, "wage_per_hour is"),
        ({"loss_chance": 0}, "above 0 and below 1"),
        ({"chosen": []}, "one or more"),
        ({"chosen": ["luck"]}, "one or more"),
        ({"sale_costs": [5, 3, 1]}, "out of order"),
        ({"sale_costs": [-5, 3, 10]}, "nothing under 0"),
        ({"hours_per_week": 0}, "hours_per_week"),
        ({"sale_fee_share": 1.2}, "sale_fee_share"),
        ({"currency": "dollars"}, "currency"),
    ],
)
def test_a_rule_that_cannot_be_is_refused_by_name(data: dict[str, object], words: str) -> None:
    with pytest.raises(BadEntry, match=words):
        rules_from(data)


def test_one_rule_may_be_written_as_a_word() -> None:
    assert rules_from({"chosen": "loss"}).chosen == ("loss",)
