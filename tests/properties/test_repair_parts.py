"""Whatever is chosen, dropped and finished in any order: the list holds what the open repairs need, once."""

from __future__ import annotations

import numpy as np
import pytest

from driveout.cars.actions import add_car, get_car
from driveout.parts.actions import parts_of
from driveout.repairs.actions import catalogue_of, choose_repair, chosen_plan, drop_repair, finish_repair
from driveout.repairs.shopping import part_lines
from driveout.store import Store, Tx
from driveout.workshop import shipped_assembly, strip
from tests.conftest import Clock

REPAIRS = {
    "rep_clutch_fwd": ("new",),
    "rep_rear_main": ("new",),
    "rep_gearbox_used": ("used",),
    "rep_alternator": ("new", "used"),
    "rep_accessory_noise": ("new",),
}


def needed_by_hand(tx: Tx, car: int) -> set[str]:
    """The words of every open repair's own list, worked out one by one."""
    held = catalogue_of(get_car(tx, car))
    words: set[str] = set()
    for row, repair, part in chosen_plan(tx, car).repairs:
        if row.state == "chosen":
            plan = strip(shipped_assembly(repair.assembly), repair.targets)
            reached = held.access[repair.access].target if repair.access else ""
            words |= {line.what for line in part_lines(repair, part, plan, reached)}
    return words


@pytest.mark.parametrize("seed", range(4))
def test_the_list_is_the_union_of_what_the_open_repairs_need(store: Store, clock: Clock, seed: int) -> None:
    rng = np.random.default_rng(seed)
    with store.writing() as tx:
        car = add_car(
            tx, name="Linnet", currency="USD", at=clock(), stage="in work", facts={"drive": "fwd"}
        ).id
        for _ in range(12):
            state = {row.repair: row.state for row, _, _ in chosen_plan(tx, car).repairs}
            repair = str(rng.choice(list(REPAIRS)))
            act = rng.random()
            if state.get(repair) == "chosen" and act < 0.6:
                (drop_repair if act < 0.4 else finish_repair)(tx, car, repair, at=clock())
            else:
                choose_repair(tx, car, repair, str(rng.choice(REPAIRS[repair])), at=clock())
            listed = [p.line.what for p in parts_of(tx, car) if p.state == "needed"]

            assert len(listed) == len(set(listed))
            assert set(listed) == needed_by_hand(tx, car)
