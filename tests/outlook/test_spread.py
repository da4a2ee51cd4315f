import numpy as np
import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.outlook import (
    Block,
    Charge,
    CostBook,
    FaultChances,
    Mend,
    Piece,
    cost_distribution,
    mean_and_variance,
    parts,
)
from driveout.outlook.spread import log_exponential_mean, parts_by_charge
from driveout.uncertain import Fixed, Gamma, Lognormal
from tests.outlook import by_hand, some_book, some_chances

MONEY_AND_HOURS = Charge(1.0, 10.0, 0.0)


@pytest.mark.parametrize("seed", range(6))
def test_shared_work_and_swap_are_exact_against_listing_every_set_of_faults(seed: int) -> None:
    chances, book = some_chances(seed), some_book()
    listed = by_hand(chances, book, MONEY_AND_HOURS)

    grid = cost_distribution(chances, book, MONEY_AND_HOURS, points=2048, step=1.0)

    wanted = np.zeros(2048)
    for amount, chance in listed.items():
        wanted[round(amount)] += chance
    assert grid.pmf == pytest.approx(wanted, abs=1e-14)


@pytest.mark.parametrize("seed", range(3))
def test_parts_add_up_to_the_mean_and_variance_of_the_list(seed: int) -> None:
    chances, book = some_chances(seed), some_book()
    listed = by_hand(chances, book, MONEY_AND_HOURS)
    mean = sum(a * p for a, p in listed.items())
    variance = sum(a * a * p for a, p in listed.items()) - mean**2

    assert mean_and_variance(chances, book, MONEY_AND_HOURS) == pytest.approx((mean, variance), rel=1e-10)
    assert sum(p.mean for p in parts(chances, book, MONEY_AND_HOURS)) == pytest.approx(mean)


def test_the_mean_of_the_exponential_is_that_of_the_list() -> None:
    chances, book = some_chances(2), some_book()
    listed = by_hand(chances, book, MONEY_AND_HOURS)

    assert log_exponential_mean(chances, book, MONEY_AND_HOURS, 0.002) == pytest.approx(
        np.log(sum(p * np.exp(0.002 * a) for a, p in listed.items())), rel=1e-12
    )


def test_several_charges_in_one_pass_equal_each_alone() -> None:
    chances, book = some_chances(4), some_book()
    charges = (Charge(1.0, 0.0, 0.0), Charge(0.0, 1.0, 0.0), MONEY_AND_HOURS)

    together = parts_by_charge(chances, book, charges)

    for charge, mine in zip(charges, together, strict=True):
        assert [p.covariance for p in mine] == pytest.approx(
            [p.covariance for p in parts(chances, book, charge)]
        )


def test_worlds_that_hide_behind_faults_are_mixed() -> None:
    def world(p: float) -> tuple[float, tuple[Block, ...]]:
        return 0.5, (
            Block((0,), np.ones(1), (np.array([[1 - p, p]]),)),
            Block((1,), np.ones(1), (np.array([[1 - p, p]]),)),
        )

    chances = FaultChances(("slip", "leak"), (("slip",), ("leak",)), (world(0.9), world(0.1)))
    book = CostBook(
        (
            Mend("slip", "Slip", (Piece("kit", Fixed(3.0)),), ("out",)),
            Mend("leak", "Leak", (Piece("hose", Fixed(5.0)),), ("out",)),
        ),
        (("out", Piece("Out", Fixed(7.0))),),
    )

    grid = cost_distribution(chances, book, Charge(), points=64, step=1.0)

    assert grid.pmf[[0, 10, 12, 15]] == pytest.approx([0.41, 0.09, 0.09, 0.41])


def test_each_shared_line_has_its_own_part() -> None:
    labels = [p.label for p in parts(some_chances(), some_book(), MONEY_AND_HOURS)]

    assert labels == [
        "Papers",
        "Tow",
        "Slip",
        "Knock",
        "Tick",
        "Leak",
        "Drain",
        "Gearbox out",
        "Head off",
        "Used engine",
    ]


def test_a_car_without_faults_and_lines_costs_nothing() -> None:
    grid = cost_distribution(FaultChances.independent({}), CostBook(), Charge())

    assert grid.mean == 0.0
    assert parts(FaultChances.independent({}), CostBook(), Charge()) == ()


def test_lognormal_costs_have_no_mean_exponential_and_the_line_is_named() -> None:
    book = CostBook((Mend("slip", "Slip", (Piece("clutch kit", Lognormal(5.0, 0.8)),)),))

    with pytest.raises(CannotSay, match="clutch kit"):
        log_exponential_mean(FaultChances.independent({"slip": 0.5}), book, Charge(), 0.001)
    with pytest.raises(BadEntry, match="rate"):
        log_exponential_mean(FaultChances.independent({"slip": 0.5}), book, Charge(), float("nan"))


def test_a_gamma_cost_has_one() -> None:
    book = CostBook((Mend("slip", "Slip", (Piece("kit", Gamma(2.0, 100.0)),)),))
    found = log_exponential_mean(FaultChances.independent({"slip": 0.5}), book, Charge(), 1 / 400)

    assert found == pytest.approx(np.log(0.5 + 0.5 * 0.75**-2))


def test_too_many_tangled_groups_are_refused_in_words() -> None:
    names = [f"g{k}" for k in range(14)]
    book = CostBook(
        (Mend("slip", "Slip", (Piece("kit", Fixed(1.0)),), tuple(names)),),
        tuple((name, Piece(name, Fixed(1.0))) for name in names),
    )

    with pytest.raises(CannotSay, match="Split a cause or drop a group"):
        cost_distribution(FaultChances.independent({"slip": 0.5}), book, Charge(), step=1.0)


def test_chances_that_do_not_fit_are_refused() -> None:
    from types import SimpleNamespace

    block = SimpleNamespace(causes=("a",), weight=np.ones(2), factors=(np.ones((2, 3)),))
    with pytest.raises(BadEntry, match="absent one first"):
        FaultChances.of_terms(("a",), (("a",),), [(1.0, [block])])
    nothing = SimpleNamespace(causes=("a",), weight=np.zeros(1), factors=(np.ones((1, 2)),))
    with pytest.raises(BadEntry, match="contradict"):
        FaultChances.of_terms(("a",), (("a",),), [(1.0, [nothing])])
    with pytest.raises(BadEntry, match="0 to 1"):
        FaultChances.independent({"a": 1.2})


def test_books_that_do_not_fit_are_refused() -> None:
    with pytest.raises(BadEntry, match="access group"):
        CostBook((Mend("a", "A", (), ("nowhere",)),))
    with pytest.raises(BadEntry, match="swap"):
        CostBook((Mend("a", "A", (), swap="nothing"),))
    with pytest.raises(BadEntry, match="names no unit"):
        CostBook((Mend("a", "A", (), forces_swap=True),))
    with pytest.raises(BadEntry, match="two entries"):
        CostBook((Mend("a", "A", ()), Mend("a", "A", ())))
    with pytest.raises(BadEntry, match="from 0 up"):
        Piece("gain", Fixed(-5.0))
    with pytest.raises(BadEntry, match="chance"):
        Piece("maybe", Fixed(5.0), chance=1.5)


def test_odds_of_one_fault_can_be_moved() -> None:
    chances = FaultChances.independent({"slip": 0.5, "leak": 0.2})

    assert chances.with_odds("slip", 3.0).of_fault == pytest.approx({"slip": 0.75, "leak": 0.2})
    with pytest.raises(BadEntry, match="not among the faults"):
        chances.with_odds("glow", 2.0)
