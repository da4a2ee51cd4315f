"""Small worked examples of a plan over faults: one clutch, two looks."""

from dataclasses import replace

import numpy as np
import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.faults import Beta, Cause, Finding, Link, Network, compile_network
from driveout.viewing import FaultCheck, FaultViewing, plan_faults, plan_many
from driveout.viewing.fault_viewing import answer_words


def a_viewing() -> FaultViewing:
    """A clutch that is worn in half of such cars; a perfect look for 10 and a useless one for nothing."""
    network = Network(
        (Cause("clutch", "Clutch worn", Beta.of(0.5)),),
        (
            Finding("slips", "Slips", (Link("clutch", (Beta(1.0, 0.0),)),), (Beta(0.0, 1.0),)),
            Finding("smell", "Smells", (), (Beta.of(0.5),)),
        ),
    )
    return FaultViewing(
        compile_network(network),
        {},
        (FaultCheck("drive", ("slips",), cost=10.0), FaultCheck("sniff", ("smell",))),
        resale=1000.0,
        costs={"clutch": 400.0},
    )


def test_a_perfect_look_is_paid_for_exactly_where_it_can_change_the_decision() -> None:
    """By hand: sound 1000, worn 600. With the look 0.5 (1000 - P) - 10 above 600, so up to 980."""
    plan = plan_faults(a_viewing())

    assert plan.ceiling_without_checks == pytest.approx(800.0)
    assert plan.ceiling == pytest.approx(980.0)
    assert plan.value(900.0) == pytest.approx(0.5 * 100.0 - 10.0)
    assert plan.value(500.0) == pytest.approx(300.0)
    assert [plan.first_step(price) for price in (500.0, 900.0, 990.0)] == ["buy", "drive", "walk"]


def test_worth_alone_is_the_gain_before_the_cost() -> None:
    drive, sniff = plan_faults(a_viewing()).worth_alone(800.0)

    assert (drive.gross, drive.cost, drive.net) == pytest.approx((100.0, 10.0, 90.0))
    assert (sniff.gross, sniff.cost) == pytest.approx((0.0, 0.0))


def test_tax_on_the_price_lowers_every_ceiling_by_its_share() -> None:
    taxed = plan_faults(replace(a_viewing(), price_factor=1.25))

    assert taxed.ceiling_without_checks == pytest.approx(640.0)
    assert taxed.value(400.0) == pytest.approx(800.0 - 1.25 * 400.0)
    assert taxed.worth_alone(640.0)[0].gross == pytest.approx(100.0)


def test_a_check_that_waits_for_an_outcome_is_only_done_after_it() -> None:
    viewing = a_viewing()
    checks = (replace(viewing.checks[0], after={"sniff": "yes"}), viewing.checks[1])
    policy = plan_faults(replace(viewing, checks=checks)).policy([900.0])

    assert policy.advice("..", 900.0) == "sniff"
    assert policy.advice(".0", 900.0) == "walk"
    assert policy.advice(".1", 900.0) == "drive"


def test_time_that_has_run_out_leaves_only_the_decision() -> None:
    viewing = a_viewing()
    slow = replace(viewing, checks=(replace(viewing.checks[0], minutes=30.0),), minutes_available=20.0)

    assert plan_faults(slow).ceiling == pytest.approx(800.0)
    assert plan_faults(slow).worth_alone(800.0)[0].why_not == "not enough time"


def test_a_serious_fault_that_is_too_likely_forbids_buying_untested() -> None:
    strict = replace(a_viewing(), serious=frozenset({"clutch"}), most_serious_chance=0.2)
    plan = plan_faults(strict)

    assert plan.value_without_checks(100.0) == 0.0
    assert plan.value(100.0) == pytest.approx(0.5 * 900.0 - 10.0)
    assert plan.ceiling == pytest.approx(980.0, abs=1e-3)


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"costs": {"gearbox": 1.0}}, "no fault 'gearbox'"),
        ({"checks": (FaultCheck("x", ("hum",)),)}, "no check of the network can show"),
        ({"checks": (FaultCheck("x", ("slips",)), FaultCheck("y", ("slips",)))}, "show the same finding"),
        ({"checks": (FaultCheck("x", ("slips",), after={"z": ""}),)}, "not on offer"),
        ({"checks": (FaultCheck("x", ("slips",), lose_deal=1.0),)}, "cannot be meant"),
    ],
)
def test_a_viewing_that_cannot_be_meant_is_refused(change: dict, complaint: str) -> None:
    with pytest.raises(BadEntry, match=complaint):
        plan_faults(replace(a_viewing(), **change)).value(1.0)


def test_findings_that_contradict_each_other_are_refused() -> None:
    viewing = a_viewing()
    with pytest.raises(CannotSay, match="cannot all be true"):
        plan_faults(
            replace(viewing, evidence={"slips": "yes", "clutch": "absent"}, checks=viewing.checks[1:])
        ).value(1.0)


def test_fifteen_checks_are_too_many_for_one_exact_plan_but_not_for_the_best_of_them() -> None:
    rng = np.random.default_rng(1)
    findings = tuple(
        Finding(f"f{n}", f"f{n}", (Link("c", (Beta.of(float(rng.uniform(0.5, 0.9))),)),), (Beta.of(0.1),))
        for n in range(15)
    )
    network = Network((Cause("c", "c", Beta.of(0.4)),), findings)
    viewing = FaultViewing(
        compile_network(network), {}, tuple(FaultCheck(f"k{n}", (f"f{n}",), cost=5.0) for n in range(15)), 1000.0,
        {"c": 500.0},
    )  # fmt: skip

    with pytest.raises(CannotSay, match="too many to plan exactly"):
        plan_faults(viewing)
    many = plan_many(viewing, 850.0)
    assert len(many.plan.viewing.checks) == 12
    assert len(many.left_out) == 3
    assert many.value <= many.most_value


def test_prices_that_do_not_rise_are_refused() -> None:
    with pytest.raises(BadEntry, match="rise"):
        plan_faults(a_viewing()).policy([900.0, 800.0])


def test_the_words_on_the_buttons_name_what_shows() -> None:
    viewing = a_viewing()
    both = FaultCheck("all", ("slips", "smell"))
    network = viewing.compiled.network

    assert [answer_words(network, both, outcome) for outcome in viewing.outcomes(both)] == [
        "None of these",
        "Only: Smells",
        "Only: Slips",
        "Both: Slips and Smells",
    ]
    assert answer_words(network, viewing.checks[0], "yes") == "Yes"
