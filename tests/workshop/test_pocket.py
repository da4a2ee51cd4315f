"""Job cards on the phone: what they hold, and how what they bring back is merged."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from driveout.cars.actions import add_car, trail_of
from driveout.errors import BadEntry
from driveout.money.actions import minutes_by_work
from driveout.store import Store
from driveout.workshop import actions
from driveout.workshop.pocket_record import PocketRecord, read_pocket_record
from tests.conftest import Browser, Clock

TORQUE = {
    "value": "30 N·m",
    "other": "",
    "origin": "confirmed",
    "document": "maker's sheet",
    "page": "12",
    "second_look": "30 N·m",
    "size": "",
    "property_class": "",
    "special": "",
    "angle_deg": 0.0,
    "stages_percent": [100.0],
}


@pytest.fixture
def car(store: Store, clock: Clock) -> int:
    with store.writing() as tx:
        made = add_car(tx, name="Tarnwick <Linnet> & Co", currency="USD", at=clock(), stage="in work")
        actions.start_work(tx, made.id, "brakes_front_disc", ["pads_only"], at=clock())
        return made.id


def record(entries: list[dict[str, Any]], car_id: int = 1, phone: str = "p1") -> PocketRecord:
    data = {
        "schema": "driveout-pocket-record/1",
        "car_id": car_id,
        "car": "x",
        "phone": phone,
        "made": "2026-05-04T18:30:00+00:00",
        "entries": entries,
    }
    return read_pocket_record(json.dumps(data))


def entry(kind: str, name: str, text: str = "", pieces: int | None = None) -> dict[str, Any]:
    return {
        "kind": kind,
        "job": 1,
        "name": name,
        "text": text,
        "pieces": pieces,
        "at": "2026-05-04T20:00:00.000Z",
    }


def bring(store: Store, clock: Clock, *entries: dict[str, Any], phone: str = "p1") -> actions.BroughtBack:
    with store.writing() as tx:
        return actions.bring_back(tx, 1, record(list(entries), phone=phone), at=clock())


def plan(store: Store) -> Any:
    with store.reading() as tx:
        return actions.work_of(tx, 1, 1).plan


def whole_way(store: Store) -> list[dict[str, Any]]:
    """Everything of the plan done on the phone, written down in reverse."""
    found = []
    for task in plan(store).tasks:
        found.append(entry("pass" if task.kind == "hold" else "tick", task.id, "all looked at"))
    return found[::-1]


def everything(store: Store) -> tuple[Any, ...]:
    """All that stands in the record of the work."""
    with store.reading() as tx:
        held = actions.work_of(tx, 1, 1)
        return (
            held.work.progress,
            held.work.done,
            held.work.passages,
            {link: (s.taken_out, s.put_back, s.fitted_new) for link, s in held.links.items()},
            {link: t.applied for link, t in held.torques.items()},
            minutes_by_work(tx, [1]),
            len(trail_of(tx, 1)),
        )


def test_the_file_holds_every_step_with_size_bag_and_what_each_hold_point_asks(
    store: Store, clock: Clock, car: int
) -> None:
    with store.reading() as tx:
        page = actions.pocket_of(tx, car, at=clock())
        tasks = actions.work_of(tx, car, 1).plan.tasks
    data = json.loads(re.search(r'id="cards">(.*?)</script>', page, re.S).group(1))  # type: ignore[union-attr]
    cards = [card for phase in data["jobs"][0]["phases"] for card in phase["cards"]]

    assert [card["task"] for card in cards] == [task.id for task in tasks]
    assert any(card.get("bag") for card in cards)
    assert all(card.get("look") or card.get("items") for card in cards if card["kind"] == "hold")
    assert any("No value entered" in card.get("warning", "") for card in cards)
    assert "<Linnet>" not in page
    assert "http" not in page.replace("http-equiv", "")


def test_a_value_comes_with_its_origin(store: Store, clock: Clock, car: int) -> None:
    link = next(
        task.item for task in plan(store).tasks if task.kind == "refit" and _is_bolt(store, task.item)
    )
    with store.writing() as tx:
        actions.enter_torque(tx, car, 1, link, TORQUE, at=clock())
        page = actions.pocket_of(tx, car, at=clock())

    assert "30 N·m" in page
    assert "maker's sheet, page 12" in page


def _is_bolt(store: Store, link: str) -> bool:
    return bool(plan(store).assembly.links[link].kind == "bolt")


def test_a_whole_job_done_on_the_phone_comes_home_whole_and_twice_changes_nothing(
    store: Store, clock: Clock, car: int
) -> None:
    entries = [*whole_way(store), entry("hours", "p1-1", "1.5")]
    first = bring(store, clock, *entries)
    assert first.open == ()
    assert first.waits == {}
    with store.reading() as tx:
        assert actions.work_of(tx, car, 1).work.next_task is None
        assert sum(minutes_by_work(tx, [1]).values()) == 90
    before = everything(store)
    clock.forward(days=1)

    second = bring(store, clock, *entries)
    assert everything(store) == before
    assert second.id == first.id
    assert second.open == ()


def test_a_later_record_of_the_same_phone_adds_only_what_is_new(store: Store, clock: Clock, car: int) -> None:
    entries = whole_way(store)[::-1]
    bring(store, clock, *entries[:3], entry("hours", "p1-1", "1.5"))

    later = bring(store, clock, *entries[:5], entry("hours", "p1-1", "1.5"), entry("hours", "p1-2", "0.5"))
    assert later.open == ()
    with store.reading() as tx:
        assert sum(minutes_by_work(tx, [1]).values()) == 120
        assert actions.work_of(tx, car, 1).work.finished_count == 5


def test_what_differs_is_left_as_it_is_and_shown_on_both_sides(store: Store, clock: Clock, car: int) -> None:
    task = next(t for t in plan(store).tasks if t.kind == "undo")
    with store.writing() as tx:
        actions.record_task(tx, car, 1, task.id, at=clock())
        here = actions.work_of(tx, car, 1).links[task.item].taken_out

    back = bring(store, clock, entry("tick", task.id, pieces=here + 1))
    assert [(m.state, m.phone, m.here) for m in back.open] == [
        ("differs", f"{here + 1} pieces", f"{here} pieces")
    ]
    with store.writing() as tx:
        assert actions.work_of(tx, car, 1).links[task.item].taken_out == here
        actions.settle_brought(tx, car, back.id, back.open[0].entry.key, True, back.version, at=clock())
        assert actions.work_of(tx, car, 1).links[task.item].taken_out == here + 1
        assert actions.brought_back(tx, car)[0].open == ()


def test_keeping_what_stands_here_settles_it_for_good(store: Store, clock: Clock, car: int) -> None:
    task = next(t for t in plan(store).tasks if t.kind == "undo")
    with store.writing() as tx:
        actions.record_task(tx, car, 1, task.id, at=clock())
    carried = entry("tick", task.id, pieces=0)
    back = bring(store, clock, carried)
    with store.writing() as tx:
        actions.settle_brought(tx, car, back.id, back.open[0].entry.key, False, back.version, at=clock())

    assert bring(store, clock, carried).open == ()
    assert bring(store, clock, carried, entry("hours", "p1-9", "1")).open == ()


def test_a_step_taken_back_here_is_not_done_again_by_the_same_record(
    store: Store, clock: Clock, car: int
) -> None:
    task = next(t for t in plan(store).tasks if t.kind not in ("undo", "refit", "hold"))
    carried = entry("tick", task.id)
    if plan(store).tasks[0].id != task.id:
        carried = entry("tick", plan(store).tasks[0].id)
    bring(store, clock, carried)
    with store.writing() as tx:
        actions.take_back_task(tx, car, 1, carried["name"], at=clock())

    assert bring(store, clock, carried).open == ()
    with store.reading() as tx:
        assert actions.work_of(tx, car, 1).work.finished_count == 0


def test_steps_that_are_not_known_here_are_kept_and_shown(store: Store, clock: Clock, car: int) -> None:
    back = bring(
        store,
        clock,
        entry("tick", "off:flux_capacitor", "rusted"),
        {**entry("tick", "off:x"), "job": 77},
        entry("torque", "no_such_link", "20 N·m"),
    )

    assert [one.state for one in back.open] == ["unknown", "unknown", "unknown"]
    assert back.open[0].phone == "rusted"
    with store.reading() as tx:
        assert len(actions.brought_back(tx, car)[0].met) == 3


def test_a_step_behind_a_hold_point_waits_and_is_taken_over_when_it_is_passed(
    store: Store, clock: Clock, car: int
) -> None:
    steps = plan(store).tasks
    hold = next(at for at, task in enumerate(steps) if task.kind == "hold")
    after = [one for one in whole_way(store)[::-1] if one["name"] != steps[hold].id]
    back = bring(store, clock, *after)

    assert back.waits
    assert any("hold point" in words for words in back.waits.values())
    everything_again = bring(store, clock, *whole_way(store))
    assert everything_again.open == ()


def test_two_phones_with_the_same_cards_are_told_apart(store: Store, clock: Clock, car: int) -> None:
    bring(store, clock, entry("hours", "p1-1", "1"), phone="p1")
    bring(store, clock, entry("hours", "p2-1", "1"), phone="p2")

    with store.reading() as tx:
        assert sum(minutes_by_work(tx, [1]).values()) == 120


def test_cards_of_another_car_are_refused(store: Store, clock: Clock, car: int) -> None:
    with store.writing() as tx, pytest.raises(BadEntry, match="of car 9"):
        actions.bring_back(tx, car, record([], car_id=9), at=clock())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no JSON"),
        ("[]", "schema is None"),
        ('{"schema": "driveout-record/1"}', "driveout-record/1"),
        ('{"schema": "driveout-pocket-record/1", "car_id": "1", "entries": []}', "for which car"),
        (
            '{"schema": "driveout-pocket-record/1", "car_id": 1, "entries": [{"kind": "rule"}]}',
            "no known kind",
        ),
        (
            '{"schema": "driveout-pocket-record/1", "car_id": 1, "entries": [{"kind": "tick", "job": 1, "name": "x", "pieces": -1}]}',
            "-1 pieces",
        ),
        ("[" * 100_000, "no JSON"),
        (" " * 4_000_001, "at most 4 MB"),
    ],
    ids=range(8),
)
def test_what_is_no_record_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(BadEntry, match=words):
        read_pocket_record(text)


def test_a_record_reads_back_as_it_was_written() -> None:
    made = record([entry("tick", "off:a", "note", 3), entry("hours", "p-1", "2")])

    assert read_pocket_record(json.dumps(made.as_dict())) == made


def test_it_works_through_the_pages(browser: Browser, store: Store, clock: Clock, car: int) -> None:
    answer = browser.client.get(f"/cars/{car}/work/pocket.html")
    assert "attachment" in answer.headers["content-disposition"]
    text = json.dumps(record([entry("tick", "off:<b>x</b>"), entry("hours", "p1-1", "1")]).as_dict())

    shown = browser.post(f"/cars/{car}/work/brought", {"action": "hand in", "text": text})
    assert "no such step here" in shown
    assert "<b>x</b>" not in shown
    again = browser.post(
        f"/cars/{car}/work/brought",
        {"action": "hand in"},
        files={"record": ("r.json", text.encode(), "application/json")},
    )
    assert again.count("<h2 id=") == shown.count("<h2 id=")
    assert "No record was handed in" in browser.post(
        f"/cars/{car}/work/brought", {"action": "hand in"}, status=422
    )
