"""What must hold for any assembly and any course of work."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.errors import BadEntry
from driveout.workshop import SHIPPED, Passage, Progress, pass_hold, shipped_assembly, strip
from driveout.workshop.assembly import EVENTS
from driveout.workshop.hold import FastenerRecord, bag_report, hold_point, still_holding
from driveout.workshop.pattern import circle_order, head_order
from driveout.workshop.strip import StripPlan
from driveout.workshop.threads import assembly_torque, possible_torque, read_thread
from driveout.workshop.work import Work
from driveout.workshop.wrench import wrench_setting

assemblies = st.sampled_from(SHIPPED)


@st.composite
def plans(draw: st.DrawFn) -> StripPlan:
    assembly = shipped_assembly(draw(assemblies))
    targets = draw(st.lists(st.sampled_from(list(assembly.targets)), min_size=1, max_size=3, unique=True))
    return strip(assembly, targets, compare=False)


@settings(max_examples=40)
@given(plans())
def test_refit_mirrors_strip(plan: StripPlan) -> None:
    undone = [task.item for task in plan.tasks if task.kind == "undo"]
    back = [task.item for task in plan.tasks if task.kind == "refit"]

    assert sorted(undone) == sorted(back)
    place = {item: n for n, item in enumerate(back)}
    for item in undone:
        for need in plan.because[item]:
            if need in place:
                assert place[item] < place[need], "what was in the way goes back later"


@settings(max_examples=40)
@given(plans())
def test_every_link_is_back_before_the_event_that_names_it(plan: StripPlan) -> None:
    order = [task.id for task in plan.tasks]
    for link in plan.links:
        hold = f"hold:event:{link.needed_by}"
        assert order.index(f"on:{link.id}") < order.index(hold)


@settings(max_examples=60)
@given(plans(), st.data())
def test_no_hold_point_is_passed_with_an_open_link_unless_a_note_says_so(
    plan: StripPlan, data: st.DataObject
) -> None:
    links = [link.id for link in plan.assembly.links.values()]
    undone = frozenset(data.draw(st.sets(st.sampled_from(links))))
    back = frozenset(item for item in undone if data.draw(st.booleans()))
    progress = Progress(undone, back)
    for task in plan.tasks:
        if task.kind != "hold":
            continue
        point = hold_point(plan, task.id, progress)
        step = plan.assembly.steps.get(task.item)
        if task.id.startswith("hold:strip") and step is not None and step.lifts:
            held = {link.id for link in still_holding(plan.assembly, step.lifts, undone)}
            assert held == {item.key for item in point.open_items if item.kind == "link"}
            assert held == {link.id for link in plan.assembly.crossing(step.lifts)} - undone
        if task.id.startswith("hold:event"):
            limit = EVENTS.index(task.item)
            for link in plan.links:
                if EVENTS.index(link.needed_by) <= limit and link.id not in back:
                    assert link.id in {item.key for item in point.open_items}
        if point.open_items:
            try:
                pass_hold(point, "")
            except BadEntry:
                continue
            raise AssertionError("passed with something open and no note")


@settings(max_examples=30)
@given(plans(), st.data())
def test_a_step_is_never_recorded_across_an_open_hold_point(plan: StripPlan, data: st.DataObject) -> None:
    """Any order of recording that is allowed leaves every hold point before each step passed."""
    work = Work(plan)
    undone: set[str] = set()
    back: set[str] = set()
    done: set[str] = set()
    passages: tuple[Passage, ...] = ()
    rng = np.random.default_rng(data.draw(st.integers(0, 10_000)))
    tasks = list(plan.tasks)
    for _ in range(80):
        task = tasks[int(rng.integers(len(tasks)))]
        work = Work(plan, Progress(frozenset(undone), frozenset(back)), frozenset(done), {}, passages)
        try:
            work.demand_open_way(task)
        except BadEntry:
            continue
        if task.kind == "undo":
            undone.add(task.item)
        elif task.kind == "refit":
            back.add(task.item)
        elif task.kind == "hold":
            if work.hold(task.id).is_clear:
                passages = (*passages, Passage(task.id, (), ""))
        else:
            done.add(task.id)
            before = tasks[: tasks.index(task)]
            assert all(work.is_passed(t.id) for t in before if t.kind == "hold")


@settings(max_examples=40)
@given(assemblies, st.data())
def test_more_targets_never_take_less_and_sharing_never_takes_more(name: str, data: st.DataObject) -> None:
    assembly = shipped_assembly(name)
    every = list(assembly.targets)
    some = data.draw(st.lists(st.sampled_from(every), min_size=1, max_size=2, unique=True))
    more = data.draw(st.sampled_from(every))
    together = strip(assembly, [*some, more], compare=False).effort_minutes
    fewer = strip(assembly, some, compare=False).effort_minutes
    alone = strip(assembly, [more], compare=False).effort_minutes

    assert together >= fewer - 1e-9
    assert together <= fewer + alone + 1e-9


@given(st.integers(1, 64))
def test_a_circle_order_names_each_fastener_once_and_even_ones_in_opposite_pairs(count: int) -> None:
    order = circle_order(count)

    assert sorted(order) == list(range(1, count + 1))
    if count % 2 == 0:
        for first, second in zip(order[::2], order[1::2], strict=True):
            assert abs(first - second) == count // 2


@given(st.integers(1, 8))
def test_a_head_is_tightened_from_the_centre_outwards(columns: int) -> None:
    order = head_order(columns)
    from_centre = [abs((number - 1) % columns - (columns - 1) / 2) for number in order]

    assert sorted(order) == list(range(1, 2 * columns + 1))
    assert from_centre == sorted(from_centre)


@given(st.floats(1, 500), st.floats(100, 800), st.floats(0, 300), st.floats(0, 89))
def test_an_extension_pointing_away_lowers_the_setting(
    target: float, lever: float, extension: float, angle: float
) -> None:
    setting = wrench_setting(target, lever, extension, angle)

    assert setting <= target * (1 + 1e-12)
    # The moment balance itself: force at the grip times the whole reach gives the target.
    reach = lever + extension * np.cos(np.radians(angle))
    assert np.isclose(setting / lever * reach, target)


@given(st.sampled_from(["M5", "M6", "M8", "M8x1", "M10", "M10x1.25", "M12", "M12x1.5", "M14", "M16"]))
def test_the_band_holds_every_usual_assembly_torque(size: str) -> None:
    thread = read_thread(size)
    for name in ("8.8", "10.9", "12.9"):
        low, high = possible_torque(thread, name)
        for friction in (0.10, 0.12, 0.14):
            assert low < assembly_torque(thread, name, friction) < high


@given(st.integers(0, 12), st.integers(0, 12), st.integers(0, 12), st.integers(0, 12), st.integers(1, 12))
def test_bags_are_clean_only_when_every_place_is_filled_and_every_piece_is_placed(
    out: int, back: int, thrown: int, new: int, count: int
) -> None:
    try:
        record = FastenerRecord(
            "x", "cover", count, 1, taken_out=out, put_back=back, thrown_away=thrown, fitted_new=new
        )
    except BadEntry:
        assert back + thrown > out
        return
    is_full = out == 0 or back + new >= count
    is_empty = out == back + thrown

    assert bag_report([record]).is_clean == (is_full and is_empty)
