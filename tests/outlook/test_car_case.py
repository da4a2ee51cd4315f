"""From a posterior to a case: exact while it can be written down, drawn beyond, and the same answer."""

import math

import pytest

from driveout.faults import Beta, Cause, Finding, Link, Network, infer, shipped_network
from driveout.outlook import FaultChances, FaultDraws, Rules, car_case, forecast
from driveout.outlook.car_case import chances_or_draws, title_evidence, ways_out
from driveout.repairs import catalogue
from driveout.uncertain import ThreePoint


def tangled(findings: int) -> tuple[Network, dict[str, str]]:
    """Two causes that both explain every finding: nothing splits."""
    causes = tuple(Cause(f"c{i}", f"C{i}", Beta.of(0.3)) for i in range(6))
    signs = tuple(
        Finding(f"f{k}", f"F{k}", tuple(Link(c.id, (Beta.of(0.4),)) for c in causes), (Beta.of(0.1),))
        for k in range(findings)
    )
    return Network(causes, signs), {f"f{k}": "yes" for k in range(findings)}


def test_twelve_findings_that_hang_together_are_summed_and_thirteen_are_drawn() -> None:
    assert isinstance(chances_or_draws(infer(*tangled(12))), FaultChances)
    assert isinstance(chances_or_draws(infer(*tangled(13))), FaultDraws)


def test_summed_and_drawn_chances_agree() -> None:
    posterior = infer(*tangled(13))
    drawn = chances_or_draws(posterior)
    assert isinstance(drawn, FaultDraws)

    for fault, chance in drawn.of_fault.items():
        assert chance == pytest.approx(posterior.faults[fault], abs=4 * math.sqrt(0.25 / drawn.count))


def test_the_chances_are_those_of_the_posterior_on_the_real_pack() -> None:
    network = shipped_network("sick", car={"mileage_km": 168_000})
    posterior = infer(network, {"say_clutch": "yes", "say_overheats": "yes", "d_clutch_hold": "no"})
    chances = chances_or_draws(posterior)

    for fault, chance in chances.of_fault.items():
        assert chance == pytest.approx(posterior.faults[fault], abs=1e-12)


def test_a_far_car_costs_the_drive_and_an_unknown_currency_is_noted() -> None:
    posterior = infer(shipped_network("runner"), {})
    value = (430_000.0, 490_000.0, 560_000.0)
    no_way_out = Rules(scrap=0.0, part_out=0.0)
    near = car_case(posterior, catalogue(), no_way_out, value)
    far = car_case(posterior, catalogue(), no_way_out, value, distance_km=100.0)
    foreign = car_case(posterior, catalogue(), Rules(currency="EUR"), value)

    assert forecast(near).profit.mean - forecast(far).profit.mean == pytest.approx(2 * 100 * 30.0)
    assert any("read as EUR" in note for note in foreign.notes)


def test_money_set_by_and_a_sale_as_it_stands_follow_the_rules() -> None:
    rules = Rules(
        extra_fault_costs=ThreePoint(0, 10_000, 40_000), as_it_stands_share=0.4, scrap=0.0, part_out=0.0
    )
    case = car_case(
        infer(shipped_network("runner"), {}), catalogue(), rules, (430_000.0, 490_000.0, 560_000.0)
    )

    assert any(piece.key == "unforeseen" for piece in case.book.always)
    assert [w.label for w in ways_out(rules, 490_000.0)] == ["sell it as it stands, faults said"]
    assert case.salvage[0].money == pytest.approx(196_000.0)


def test_words_on_the_title_become_evidence_where_the_network_knows_them() -> None:
    network = shipped_network("runner")

    assert title_evidence("salvage", network) == {"doc_brand": "present"}
    assert title_evidence("none", network) == {"doc_no_title": "present"}
    assert title_evidence("clean", network) == {"say_brand": "no"}
    assert title_evidence("unknown", network) == {}
    assert title_evidence("salvage", tangled(2)[0]) == {}
