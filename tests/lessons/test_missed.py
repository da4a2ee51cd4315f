"""Which check would have shown a fault that turned up later."""

from __future__ import annotations

from datetime import UTC, date, datetime

from driveout.faults import Beta, Cause, Finding, Link, Network, State
from driveout.lessons.missed import Noted, proved_faults

BOUGHT = date(2026, 5, 4)
BEFORE, AFTER = datetime(2026, 5, 3, 12, tzinfo=UTC), datetime(2026, 5, 9, 12, tzinfo=UTC)


def share(mean: float) -> tuple[Beta, ...]:
    return (Beta.of(mean),)


NETWORK = Network(
    (
        Cause("gasket", "Head gasket leaks", Beta.of(0.1)),
        Cause("clutch", "Clutch", Beta.of(0.2), (State("worn", "Clutch worn"), State("oily", "Clutch oily"))),
    ),
    (
        Finding("bubbles", "Bubbles in the coolant", (Link("gasket", share(0.8)),), share(0.02)),
        Finding("loss", "Coolant low", (Link("gasket", share(0.9)),), share(0.3)),
        Finding("smell", "Smell", (Link("gasket", share(0.05)),), share(0.01)),
        Finding("slip", "Slips in top gear", (Link("clutch", share(0.85), "worn"),), share(0.03)),
        Finding("said", "Said to lose water", (Link("gasket", share(0.7)),), share(0.02), kind="advert"),
    ),
)


def test_checks_not_made_before_the_purchase_are_named_the_most_telling_first() -> None:
    (fault,) = proved_faults(NETWORK, [Noted("gasket", "present", AFTER)], BOUGHT)

    assert fault.fault == "Head gasket leaks"
    # Shows / shows without cause: 80 to 2 tells more than 90 to 30; 5 of 100 is no check for it.
    assert [check.name for check in fault.missed] == ["Bubbles in the coolant", "Coolant low"]
    assert round(fault.missed[0].shows) == 80
    assert not fault.pointed


def test_what_was_found_before_the_purchase_is_not_missed() -> None:
    rows = [
        Noted("loss", "yes", BEFORE),
        Noted("bubbles", "no", BEFORE),
        Noted("gasket", "present", AFTER),
    ]
    (fault,) = proved_faults(NETWORK, rows, BOUGHT)

    assert fault.missed == ()
    assert fault.pointed
    assert [(check.before, check.pointed) for check in fault.checks] == [("no", False), ("yes", True)]


def test_a_check_made_after_the_purchase_came_too_late() -> None:
    rows = [Noted("bubbles", "yes", AFTER), Noted("gasket", "present", AFTER)]
    (fault,) = proved_faults(NETWORK, rows, BOUGHT)

    assert "Bubbles in the coolant" in [check.name for check in fault.missed]


def test_a_check_counts_only_for_the_state_it_shows() -> None:
    worn, oily = (
        proved_faults(NETWORK, [Noted("clutch", state, AFTER)], BOUGHT)[0] for state in ("worn", "oily")
    )

    assert [check.name for check in worn.checks] == ["Slips in top gear"]
    assert (oily.fault, oily.checks) == ("Clutch oily", ())


def test_a_fault_disproved_or_unknown_to_the_pack_is_left_out() -> None:
    rows = [Noted("gasket", "absent", AFTER), Noted("roof", "present", AFTER)]

    assert proved_faults(NETWORK, rows, BOUGHT) == ()
