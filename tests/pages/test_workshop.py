"""Strip and refit and the bench: a whole small job, and the clutch with two things forgotten."""

from __future__ import annotations

import hashlib
import re

import pytest

from driveout.cars.actions import add_car, trail_of
from driveout.money.actions import minutes_by_work
from driveout.store import Store
from driveout.workshop import actions
from tests.conftest import Browser, Clock


@pytest.fixture
def car(store: Store, clock: Clock) -> int:
    with store.writing() as tx:
        return add_car(
            tx,
            name="Tarnwick Linnet 1.4",
            currency="USD",
            at=clock(),
            stage="in work",
            facts={"drive": "fwd"},
        ).id


@pytest.fixture
def brakes(browser: Browser, car: int) -> str:
    browser.post(f"/cars/{car}/work/start", {"area": "brakes_front_disc/pads_only"})
    return f"/cars/{car}/work/1"


@pytest.fixture
def clutch(store: Store, clock: Clock, car: int) -> int:
    """Everything undone before the lift but one ground strap and one sensor plug."""
    forgotten = {"ground_strap", "speed_sensor_plug"}
    with store.writing() as tx:
        job = actions.start_work(tx, car, "clutch_front_drive", ["clutch"], at=clock())
        plan = actions.work_of(tx, car, job.id).plan
        for task in plan.tasks:
            if task.id == "hold:strip:draw":
                break
            if task.item not in forgotten:
                actions.record_task(tx, car, job.id, task.id, at=clock())
    return job.id


def open_bench(text: str) -> str:
    # The offer to take the last step back carries that step too.
    bench = re.sub(r'<div class="done".*?</form>', "", text, flags=re.S)
    found = re.search(r'name="task" value="([^"]+)"', bench)
    return found.group(1) if found else ""


def test_an_area_is_begun_and_its_plan_shown_with_cautions(browser: Browser, car: int) -> None:
    text = browser.post(f"/cars/{car}/work/start", {"area": "brakes_front_disc/pads_and_discs"})

    assert "Way in" in text
    assert "as if it held asbestos" in text
    assert "front disc" in text
    assert "To the bench" in text


def test_a_whole_small_job_is_walked_step_by_step(
    store: Store, browser: Browser, car: int, brakes: str
) -> None:
    text = browser.get(f"{brakes}/bench")
    for _ in range(40):
        if "All steps are done." in text:
            break
        task = open_bench(text)
        if task.startswith("hold:"):
            items = {name: "seen" for name in re.findall(r'name="(item-[^"]+)"', text)}
            text = browser.post(f"{brakes}/hold", {"task": task, "action": "pass", **items})
        else:
            text = browser.post(f"{brakes}/task", {"task": task, "action": "done"})

    assert "All steps are done." in text
    assert "Nothing missing, nothing left over." in text
    with store.reading() as tx:
        work = actions.work_of(tx, car, 1).work
        assert work.next_task is None
        assert not any(passage.is_override for passage in work.passages)


def test_the_lift_names_the_forgotten_ground_strap_and_sensor_plug(
    browser: Browser, car: int, clutch: int
) -> None:
    text = browser.get(f"/cars/{car}/work/{clutch}/bench?task=hold:strip:draw")

    assert "Still holds: Ground strap from the gearbox to the body" in text
    assert "Still holds: Speed-sensor plug behind the gearbox" in text
    assert "cannot be seen from here" in text


def test_the_lift_is_not_passed_and_not_gone_round(browser: Browser, car: int, clutch: int) -> None:
    base = f"/cars/{car}/work/{clutch}"
    refused = browser.post(
        f"{base}/hold", {"task": "hold:strip:draw", "action": "pass", "note": "ok"}, status=422
    )
    round_it = browser.post(f"{base}/task", {"task": "do:draw", "action": "done"}, status=422)

    assert "open at this hold point" in refused
    assert 'value="ok"' in refused
    assert "The hold point comes first" in round_it


def test_after_both_are_undone_the_lift_is_passed(browser: Browser, car: int, clutch: int) -> None:
    base = f"/cars/{car}/work/{clutch}"
    for link in ("ground_strap", "speed_sensor_plug"):
        browser.post(f"{base}/task", {"task": f"off:{link}", "action": "done"})
    browser.post(
        f"{base}/hold",
        {
            "task": "hold:strip:draw",
            "action": "pass",
            "item-draw.1": "strap on",
            "item-draw.2": "looked round",
        },
    )
    text = browser.post(f"{base}/task", {"task": "do:draw", "action": "done"})

    assert "clutch cover" in text


def test_a_note_passes_the_lift_and_the_trail_keeps_it(
    store: Store, browser: Browser, car: int, clutch: int
) -> None:
    note = "strap and plug are cut, new ones on order"
    browser.post(
        f"/cars/{car}/work/{clutch}/hold", {"task": "hold:strip:draw", "action": "pass", "note": note}
    )

    with store.reading() as tx:
        said = [event.summary for event in trail_of(tx, car)]
    assert any(note in words and "open" in words for words in said)


def test_a_step_is_taken_back(browser: Browser, brakes: str) -> None:
    browser.post(f"{brakes}/task", {"task": "do:loosen", "action": "done"})
    text = browser.post(f"{brakes}/task", {"task": "do:loosen", "action": "back"})

    assert "Take back" not in text


def test_a_link_that_this_car_lacks_does_not_hold(
    store: Store, browser: Browser, car: int, brakes: str
) -> None:
    browser.post(f"{brakes}/task", {"task": "off:wear_plug", "link": "wear_plug", "action": "absent"})

    with store.reading() as tx:
        progress = actions.work_of(tx, car, 1).work.progress
    assert "wear_plug" in progress.undone & progress.back


def test_one_bolt_short_is_listed_and_holds_up_the_car(browser: Browser, car: int, brakes: str) -> None:
    for task in ("do:loosen", "do:raise", "off:wheel_nuts"):
        browser.post(f"{brakes}/task", {"task": task, "action": "done"})
    browser.post(
        f"{brakes}/task", {"task": "on:wheel_nuts", "action": "done", "pieces": "4", "new_pieces": "0"}
    )
    text = browser.get(f"{brakes}/bench?task=hold:event:move")

    assert "Missing 1 of 5" in text
    assert "Left over 1" in text


def test_refitting_what_was_never_undone_is_refused(browser: Browser, brakes: str) -> None:
    text = browser.post(f"{brakes}/task", {"task": "on:wheel_nuts", "action": "done"}, status=422)

    assert "never recorded as undone" in text


def test_a_torque_needs_its_unit_and_keeps_what_was_typed(browser: Browser, brakes: str) -> None:
    text = browser.post(
        f"{brakes}/torque",
        {
            "action": "enter",
            "link": "bracket_bolts",
            "value": "103",
            "origin": "recalled",
            "document": "manual",
        },
        status=422,
    )

    assert "no unit" in text
    assert 'value="manual"' in text


def test_a_recalled_torque_prints_with_its_warning_and_a_confirmed_one_without(
    browser: Browser, brakes: str
) -> None:
    at = f"{brakes}/torque"
    recalled = browser.post(
        at, {"action": "enter", "link": "wheel_nuts", "value": "110 N·m", "origin": "recalled"}
    )
    confirmed = browser.post(
        at,
        {
            "action": "enter",
            "link": "wheel_nuts",
            "value": "110 N·m",
            "other": "81 lbf·ft",
            "origin": "confirmed",
            "document": "Owner's handbook",
            "page": "212",
            "second_look": "110 N·m",
        },
    )

    assert "look it up in the maker" in recalled
    assert "look it up in the maker" not in confirmed
    assert "110 N·m (81 lbf·ft)" in confirmed


def test_the_value_applied_is_recorded_and_a_slip_is_caught(browser: Browser, brakes: str) -> None:
    at = f"{brakes}/torque"
    browser.post(at, {"action": "enter", "link": "wheel_nuts", "value": "110 N·m", "origin": "recalled"})
    slip = browser.post(at, {"action": "apply", "link": "wheel_nuts", "applied": "110 lbf·ft"}, status=422)
    good = browser.post(at, {"action": "apply", "link": "wheel_nuts", "applied": "81 lbf·ft"})

    assert "was applied where" in slip
    assert "Applied: 81 lbf·ft (110 N·m)" in good


def test_the_timer_books_own_hours_under_the_kind_of_work(
    store: Store, browser: Browser, clock: Clock, car: int, brakes: str
) -> None:
    browser.post(f"{brakes}/timer", {"action": "start"})
    clock.forward(hours=1, minutes=30)
    browser.post(f"{brakes}/timer", {"action": "stop"})

    with store.reading() as tx:
        assert sum(minutes_by_work(tx, [car]).values()) == 90


def test_a_forgotten_timer_is_not_booked(
    store: Store, browser: Browser, clock: Clock, car: int, brakes: str
) -> None:
    browser.post(f"{brakes}/timer", {"action": "start"})
    clock.forward(hours=40)
    text = browser.post(f"{brakes}/timer", {"action": "stop"}, status=422)
    browser.post(f"{brakes}/timer", {"action": "discard"})

    assert "so it was forgotten" in text
    with store.reading() as tx:
        assert not minutes_by_work(tx, [car])


def test_hours_are_booked_by_hand(store: Store, browser: Browser, car: int, brakes: str) -> None:
    browser.post(f"{brakes}/timer", {"action": "book", "hours": "2.5"})

    with store.reading() as tx:
        assert sum(minutes_by_work(tx, [car]).values()) == 150


def test_an_own_assembly_is_read_from_an_upload(browser: Browser, car: int) -> None:
    own = (
        "schema: driveout-assembly/1\nid: lamp\nname: Headlamp\n"
        "parts: {body: {name: body, fixed: true}, lamp: {name: lamp}}\n"
        "links: {screws: {kind: screw, part: lamp, to: body, count: 2}}\n"
    )
    text = browser.post(
        f"/cars/{car}/work/start",
        {"area": "cooling/radiator", "own_target": "lamp"},
        files={"own_file": ("lamp.yaml", own.encode(), "text/yaml")},
    )
    refused = browser.post(
        f"/cars/{car}/work/start",
        {"area": "cooling/radiator", "own_target": "lamp"},
        files={"own_file": ("lamp.yaml", own.replace("part: lamp, ", "").encode(), "text/yaml")},
        status=422,
    )

    assert "Headlamp" in text
    assert "lamp.yaml:5" in refused


def test_a_job_of_another_car_is_not_shown(store: Store, clock: Clock, browser: Browser, brakes: str) -> None:
    with store.writing() as tx:
        other = add_car(tx, name="Another", currency="USD", at=clock(), stage="bought").id

    assert browser.client.get(f"/cars/{other}/work/1/bench").status_code == 422


def test_an_unknown_area_or_task_is_refused(browser: Browser, car: int, brakes: str) -> None:
    assert "no assembly" in browser.post(f"/cars/{car}/work/start", {"area": "moon/dust"}, status=422)
    assert browser.client.get(f"{brakes}/bench?task=do:fly").status_code == 422


def test_a_plan_and_a_torque_are_answered_over_the_api(browser: Browser) -> None:
    plan = browser.client.post("/api/strip", json={"assembly": "cooling", "targets": ["radiator"]})
    torque = browser.client.post("/api/torque-check", json={"value": "76 lbf·ft", "bolts": 5})
    bare = browser.client.post("/api/torque-check", json={"value": "76"})
    odd = browser.client.post("/api/torque-check", json={"value": "76 N·m", "colour": "red"})
    nothing = browser.client.post("/api/strip", json={"targets": ["radiator"]})

    assert plan.json()["released"]
    assert torque.json()["order"] == [1, 3, 5, 2, 4]
    assert bare.status_code == odd.status_code == nothing.status_code == 422
    assert "no unit" in bare.json()["error"]["message"]


def test_a_plan_is_changed_in_the_browser_and_keeps_what_is_recorded(
    store: Store, browser: Browser, car: int, brakes: str
) -> None:
    browser.post(f"{brakes}/task", {"task": "off:wheel_nuts", "action": "done"})
    with store.reading() as tx:
        text = actions.assembly_text(tx, car, 1)
    mine = text.replace(
        "links:", "links:\n  hose_clip: {kind: clip, part: pads, to: body, needed_by: move}", 1
    )
    page = browser.post(f"{brakes}/file", {"text": mine, "version": "1"})

    assert "pad pair: clip to body" in page
    with store.reading() as tx:
        held = actions.work_of(tx, car, 1)
        assert "hose_clip" in held.plan.released
        assert held.work.progress.undone == {"wheel_nuts"}


def test_a_changed_plan_must_keep_what_is_undone_and_be_whole(
    store: Store, browser: Browser, car: int, brakes: str
) -> None:
    browser.post(f"{brakes}/task", {"task": "off:wear_plug", "action": "done"})
    with store.reading() as tx:
        text = actions.assembly_text(tx, car, 1)
    lines = [line for line in text.splitlines() if "wear_" not in line]
    without = "\n".join(lines)
    torn = browser.post(f"{brakes}/file", {"text": text + "  [", "version": "1"}, status=422)
    lost = browser.post(
        f"{brakes}/file",
        {
            "text": without.replace(
                "links:",
                "links:\n  pads_out: {kind: clip, part: pads, to: bracket, count: 2, after: [caliper_bolts]}",
            ),
            "version": "1",
        },
        status=422,
    )
    late = browser.post(f"{brakes}/file", {"text": text, "version": "9"}, status=409)

    assert "torn" in torn
    assert "no longer has what is undone" in lost
    assert "another window" in late


PICTURE = bytes.fromhex(  # the smallest grey pixel as PNG; source: PNG specification, a valid 1x1 file
    "89504e470d0a1a0a0000000d494844520000000100000001080000000"
    "03a7e9b550000000a49444154789c63600000000200015e5f3d2c0000000049454e44ae426082"
)


def test_a_photo_of_a_link_is_kept_by_its_hash_and_shown_at_the_bench(
    store: Store, browser: Browser, car: int, brakes: str
) -> None:
    files = {"photo": ("where.png", PICTURE, "image/png")}
    fields = {"task": "off:wear_plug", "link": "wear_plug", "title": "Clip behind the hose"}
    text = browser.post(f"{brakes}/photo", fields, files)
    with store.reading() as tx:
        kept = actions.photos_of(tx, car, 1, "wear_plug")

    assert [photo.digest for photo in kept] == [hashlib.sha256(PICTURE).hexdigest()]
    assert "Photo: Clip behind the hose" in text
    assert browser.client.get(f"{brakes}/photo/{kept[0].digest}").content == PICTURE
    assert "Clip behind the hose" in browser.get(f"{brakes}/bench?task=on:wear_plug"), "also on the way back"
    assert "Clip behind the hose" not in browser.get(f"{brakes}/bench?task=off:wheel_nuts")


def test_what_is_no_picture_or_of_no_link_is_refused_and_nothing_kept(
    store: Store, browser: Browser, car: int, brakes: str
) -> None:
    fields = {"task": "off:wear_plug", "link": "wear_plug", "title": ""}
    for data, message in (
        (b"hello", "no picture"),
        (b"%PDF-1.7", "A PDF cannot"),
        (b"", "No picture was chosen"),
    ):
        text = browser.post(f"{brakes}/photo", fields, {"photo": ("x", data)}, status=422)
        assert message in text
    text = browser.post(
        f"{brakes}/photo", {**fields, "link": "nothing"}, {"photo": ("x", PICTURE)}, status=422
    )

    assert "no link" in text
    assert browser.client.get(f"{brakes}/photo/{'0' * 64}").status_code == 422
    with store.reading() as tx:
        assert actions.photos_of(tx, car, 1) == []


def test_cards_and_labels_are_printed_from_the_chapter(browser: Browser, car: int, brakes: str) -> None:
    text = browser.get(f"/cars/{car}/work")
    cards = browser.client.get(f"{brakes}/cards.pdf?paper=letter")
    labels = browser.client.get(f"{brakes}/labels.pdf")

    assert "Print the job cards" in text
    assert "Print the bag labels" in text
    for answer in (cards, labels):
        assert answer.headers["content-type"] == "application/pdf"
        assert answer.content.startswith(b"%PDF-")
    assert browser.client.get(f"{brakes}/cards.pdf?paper=a9").status_code == 422


def test_the_codes_lead_to_the_address_the_page_was_asked_at(
    store: Store, browser: Browser, car: int, brakes: str
) -> None:
    with store.reading() as tx:
        works = actions.every_work(tx, car)
        labels = actions.labels_of(tx, car, works, str(browser.client.base_url))

    assert labels[0].address.startswith(f"http://localhost:8321/cars/{car}/work/1/bench?task=on:")
    page = browser.get(labels[0].address.removeprefix("http://localhost:8321"))
    assert labels[0].link in page
