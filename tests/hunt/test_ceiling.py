from dataclasses import replace

from driveout.hunt.ceiling import ceiling_of, rule_variants, tornado
from tests.outlook import a_case


def test_the_widest_swing_comes_first_and_the_sale_price_moves_most() -> None:
    swings = tornado(rule_variants(a_case()))

    assert [s.width for s in swings] == sorted((s.width for s in swings), reverse=True)
    assert swings[0].label == "Sale price of the mended car"


def test_a_dearer_sale_raises_and_a_dearer_hour_lowers_the_walk_away_price() -> None:
    by_label = {s.label: s for s in tornado(rule_variants(a_case()))}

    assert by_label["Sale price of the mended car"].at_low < by_label["Sale price of the mended car"].at_high
    assert by_label["Your wage an hour"].at_low > by_label["Your wage an hour"].at_high


def test_an_input_whose_case_cannot_be_computed_is_left_out() -> None:
    case = a_case()
    impossible = replace(case, value=(0.0, 1.0))

    assert tornado({"broken": (impossible, impossible), "same": (case, case)})[0].label == "same"


def test_the_coarse_grid_of_the_tornado_is_close_to_the_fine_one() -> None:
    case = a_case()

    assert abs(ceiling_of(case, points=512).price - ceiling_of(case).price) < 2.0
