"""Paint: panels, flaws, sanding plan, calibration, leaving it."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.units import Money
from driveout.wear import CLOSE, FAILS, HOLDS, OPEN, shipped_limits
from driveout.wear.paint import (
    Defect,
    PanelFilm,
    car_median,
    clear_coat,
    defect_verdict,
    over_spots,
    panel_likelihood,
    panel_verdict,
    strike_through,
)
from driveout.wear.paint_plan import (
    PaintChoice,
    Removal,
    budget_rules,
    calibrated,
    choose_treatment,
    general_removal,
    gloss_left,
    grit_d50_um,
    measured_removal,
    plan_panel,
    sanding_removal,
)

SHIPPED = shipped_limits()


def usd(amount: str) -> Money:
    return Money.of(amount, "USD")


def test_a_panel_like_the_rest_is_original_and_a_thick_one_is_not() -> None:
    assert panel_likelihood(112, 110)["original"] > 0.95
    assert panel_likelihood(230, 110)["repainted"] > 0.9
    assert panel_likelihood(900, 110)["filler"] > 0.95
    assert sum(panel_likelihood(180, 110).values()) == pytest.approx(1)


def test_a_panel_far_over_the_car_is_a_finding() -> None:
    verdict = panel_verdict(PanelFilm("roof", (175, 180, 185)), 110, SHIPPED)

    assert verdict.findings[0].positive
    assert verdict.outcome == CLOSE
    assert "Probably not the factory" in verdict.words


def test_one_high_point_is_a_finding_although_the_median_is_not() -> None:
    verdict = panel_verdict(PanelFilm("left wing", (110, 112, 1200)), 110, SHIPPED)

    assert verdict.findings[0].positive
    assert "Filler" in verdict.words


def test_plastic_gives_no_reading() -> None:
    assert panel_verdict(PanelFilm("bonnet", (), "plastic"), 110, SHIPPED).outcome == OPEN


@pytest.mark.parametrize(
    ("film", "match"),
    [
        (PanelFilm("wing", (100,)), "not a panel"),
        (PanelFilm("roof", (100,), "wood"), "not a material"),
        (PanelFilm("roof", ()), "no reading"),
    ],
)
def test_a_panel_that_cannot_be_judged_is_refused(film: PanelFilm, match: str) -> None:
    with pytest.raises(BadEntry, match=match):
        panel_verdict(film, 110, SHIPPED)


def test_the_cars_median_needs_three_panels_and_is_not_moved_by_one_repaint() -> None:
    films = [
        PanelFilm(p, (m,)) for p, m in (("roof", 110), ("bonnet", 112), ("tailgate", 114), ("left wing", 400))
    ]

    assert car_median(films) == 113
    with pytest.raises(CannotSay, match="three metal panels"):
        car_median(films[:2])


def test_a_likelihood_needs_a_film() -> None:
    with pytest.raises(BadEntry, match="above 0"):
        panel_likelihood(0, 110)


def test_no_clear_coat_is_told_from_a_repaint_or_without_a_press() -> None:
    with pytest.raises(CannotSay, match="more than a factory finish"):
        clear_coat(190)
    with pytest.raises(BadEntry, match="one press"):
        clear_coat(110, presses=0)


def test_more_spots_risk_more() -> None:
    assert over_spots(0.01, 5) == pytest.approx(1 - 0.99**5)
    assert strike_through(95, 20) < over_spots(strike_through(95, 20), 3)


@pytest.mark.parametrize(
    ("defect", "outcome", "repair"),
    [
        (Defect("roof", "swirls", False, True), HOLDS, "rep_polish_panel"),
        (Defect("roof", "scratch", True), FAILS, "rep_touch_in"),
        (Defect("roof", "scratch felt by nail"), FAILS, "rep_touch_in"),
        (Defect("roof", "scratch", False, False), FAILS, "rep_touch_in"),
        (Defect("roof", "scratch", False, True, 30), FAILS, "rep_panel_paint"),
        (Defect("roof", "peeling clear"), FAILS, "rep_panel_used"),
        (Defect("roof", "rust bubble"), FAILS, "rep_rust_cosmetic"),
        (Defect("roof", "stone chip"), FAILS, "rep_touch_in"),
    ],
)
def test_the_evidence_of_depth_chooses_the_cure(defect: Defect, outcome: str, repair: str) -> None:
    verdict = defect_verdict(defect)

    assert verdict.outcome == outcome
    assert repair in verdict.repairs


def test_a_scratch_not_tried_stays_open() -> None:
    assert defect_verdict(Defect("roof", "scratch")).outcome == OPEN
    with pytest.raises(BadEntry, match="not a flaw"):
        defect_verdict(Defect("roof", "dirt"))
    with pytest.raises(BadEntry, match="not a panel"):
        defect_verdict(Defect("keel", "swirls"))


def test_sanding_factory_clear_eats_the_whole_budget_and_polishing_does_not() -> None:
    sanding = plan_panel("roof", [112, 114, 113], 1.0, ["P1500", "P2000", "P2500"], SHIPPED)
    polish = plan_panel("roof", [112, 114, 113], 2.0, [], SHIPPED)

    # 1 + 2 x (3.15 + 2.575 + 2.1) = 16.65 um against 8 um
    assert sanding.removal_um == pytest.approx(16.65)
    assert sanding.budget.outcome == FAILS
    assert polish.budget.outcome == HOLDS
    assert sanding.strike > polish.strike


def test_the_rules_on_removal_disagree_and_are_all_shown() -> None:
    said = {other.limit.key: other.outcome for other in budget_rules(SHIPPED, 10)}

    assert said["clear-12"] == HOLDS
    assert said["clear-75"] == FAILS
    assert said["clear-third"] == HOLDS


def test_a_plan_is_refused_on_an_uneven_or_repainted_panel() -> None:
    with pytest.raises(CannotSay, match="not an even factory finish"):
        plan_panel("roof", [100, 150], 1, [], SHIPPED)
    with pytest.raises(CannotSay, match="not an even factory finish"):
        plan_panel("roof", [200, 205], 1, [], SHIPPED)
    with pytest.raises(BadEntry, match="no reading"):
        plan_panel("roof", [], 1, [], SHIPPED)


def test_what_is_gone_already_counts() -> None:
    fresh = plan_panel("roof", [112], 3.0, [], SHIPPED)
    again = plan_panel("roof", [112], 3.0, [], SHIPPED, already_um=6.0)

    assert again.budget.outcome == FAILS
    assert again.strike >= fresh.strike


def test_grits_go_from_coarse_to_fine_and_makers_grades_are_not_in_the_table() -> None:
    with pytest.raises(BadEntry, match="coarse to fine"):
        sanding_removal(1, ["P2000", "P1500"])
    with pytest.raises(BadEntry, match="maker's grade"):
        grit_d50_um("P3000")
    with pytest.raises(BadEntry, match="not in the grit table"):
        grit_d50_um("P777")
    with pytest.raises(BadEntry, match="negative"):
        sanding_removal(-1, [])
    with pytest.raises(BadEntry, match="negative"):
        gloss_left(-0.1)
    assert grit_d50_um("2500") == 8.4


def test_ones_own_readings_calibrate_the_removal() -> None:
    measured = measured_removal([112, 112, 112], [107, 107, 107])
    own = calibrated(general_removal("polish"), [(measured, 5)])

    # 5 um in 5 passes: 1 um a pass with sd 1.22/5; the general 2.75 with sd 1 hardly counts.
    assert own.mean_um == pytest.approx(
        (2.75 + 1 / (1.2247 / 5) ** 2) / (1 + 1 / (1.2247 / 5) ** 2), rel=1e-3
    )
    assert own.sd_um < 0.25
    assert general_removal("P1500").mean_um == pytest.approx(3.15)


def test_readings_that_do_not_pair_are_refused() -> None:
    with pytest.raises(BadEntry, match="equally often"):
        measured_removal([112, 111], [108])
    with pytest.raises(BadEntry, match="Passes"):
        calibrated(Removal(2.75, 1), [(Removal(3, 1), 0)])


def test_leaving_and_disclosing_wins_when_the_flaw_costs_little() -> None:
    plan = plan_panel("roof", [112, 113], 2.0, [], SHIPPED)

    def offered(uplift: str, discount: str) -> list[PaintChoice]:
        return choose_treatment(
            plan,
            uplift=usd(uplift),
            discount_if_left=usd(discount),
            hours=3.0,
            consumables=usd("20"),
            hour_worth=usd("15"),
            repaint_cost=usd("250"),
            repaint_hours=6.0,
        )

    small, large = offered("10", "5"), offered("200", "100")
    assert small[0].name == "leave it and disclose it"
    assert large[0].repair == "rep_polish_panel"
    # uplift 200, material 20, 3 h at 15: 135, less the tiny chance of painting after all
    assert usd("134") <= large[0].net <= usd("135")


def test_levelling_over_the_budget_is_not_offered() -> None:
    plan = plan_panel("roof", [112, 114], 1.0, ["P1500", "P2000", "P2500"], SHIPPED)
    offered = choose_treatment(
        plan,
        uplift=usd("200"),
        discount_if_left=usd("100"),
        hours=5,
        consumables=usd("30"),
        hour_worth=usd("15"),
        repaint_cost=usd("250"),
        repaint_hours=6,
    )

    assert "rep_polish_panel" not in [choice.repair for choice in offered]
