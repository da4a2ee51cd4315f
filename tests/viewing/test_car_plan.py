"""Which checks are on offer at a car, and how the advice is put into words."""

from driveout.faults import knowledge, shipped_network
from driveout.faults.actions import record_finding
from driveout.store import Store
from driveout.viewing import actions
from driveout.viewing.car_plan import checks_on_offer, policy_for
from driveout.viewing.policy import as_table, from_table
from tests.viewing import CHECKS, added


def offered(advert_class: str, known: tuple[str, ...] = (), without: tuple[str, ...] = ()) -> set[str]:
    network = shipped_network(advert_class)
    return {check.id for check in checks_on_offer(knowledge(), network, known, advert_class, without)}


def test_a_car_that_does_not_run_rules_out_every_check_that_needs_it_to() -> None:
    pack = knowledge()
    running = {check.id for check in pack.checks.values() if {"runs", "drives"} & set(check.needs)}

    assert running
    assert not offered("dead") & running
    assert offered("runner") & running


def test_questions_on_the_phone_are_not_planned_for_the_viewing() -> None:
    phone = {check.id for check in knowledge().checks.values() if check.stage == "phone"}

    assert phone
    assert not offered("runner") & phone


def test_a_check_whose_finding_is_recorded_is_not_offered_again() -> None:
    assert "d_clutch_hold" in offered("runner")
    assert "d_clutch_hold" not in offered("runner", known=("d_clutch_hold",))


def test_what_is_lacking_takes_away_the_checks_that_need_it() -> None:
    gone = offered("runner") - offered("runner", without=("jack",))

    assert gone
    assert all("jack" in knowledge().checks[check].needs for check in gone)


def test_every_check_on_offer_that_can_hurt_carries_its_caution() -> None:
    pack = knowledge()
    network = shipped_network("runner")
    carried = {check.id: check.caution for check in checks_on_offer(pack, network, (), "runner")}

    assert any(carried.values())
    assert all(carried[check] == pack.checks[check].caution for check in carried)
    assert all(carried[check] for check in carried if "jack" in pack.checks[check].needs)


def test_each_kind_of_advice_says_what_it_rests_on(store: Store) -> None:
    car = added(store)
    with store.reading() as tx:
        looking = actions.plan_of(tx, car, kept=CHECKS)
        cheap = actions.plan_of(tx, car, price_minor=0, kept=CHECKS)
        dear = actions.plan_of(tx, car, price_minor=900_000, kept=CHECKS)

    assert looking.check is not None
    assert looking.gain.minor > 0
    assert "Going on with the checks is worth" in looking.why[0]
    assert dear.step == "walk"
    assert dear.with_checks.text() in dear.why[1]
    assert dear.gain.minor == 0
    assert cheap.step == "buy" or cheap.check is not None


def test_the_plan_follows_what_is_found(store: Store) -> None:
    car = added(store)
    with store.reading() as tx:
        before = actions.plan_of(tx, car, kept=CHECKS)
    with store.writing() as tx:
        record_finding(tx, car, finding="b_gas_in_coolant", outcome="yes", at=store.now())
    with store.reading() as tx:
        after = actions.plan_of(tx, car, price_minor=before.price.minor, kept=CHECKS)

    assert after.ceiling.money < before.ceiling.money
    assert "b_gas_in_coolant" not in after.checks


def test_the_table_of_a_car_reads_back_with_the_same_advice(store: Store) -> None:
    car = added(store)
    with store.reading() as tx:
        made = actions.plan_of(tx, car, kept=CHECKS)
    policy = policy_for(made)
    again = from_table(as_table(policy))
    price = made.price.minor / 100

    assert set(again.nodes) == set(policy.nodes)
    for position, node in policy.nodes.items():
        if node.ceiling is None or abs(node.ceiling - price) > 1.0:
            assert again.advice(position, price) == policy.advice(position, price)


def test_asking_again_about_nothing_new_gives_the_very_same_plan(store: Store) -> None:
    car = added(store)
    with store.reading() as tx:
        first = actions.plan_of(tx, car, kept=CHECKS)
        second = actions.plan_of(tx, car, kept=CHECKS)

    assert first is second
