"""Adaptors for the printed values in schedule.toml: project networks as printed, answers by our functions."""

from __future__ import annotations

import datetime
import math
from functools import cache

import numpy as np

from driveout.uncertain import Gamma
from driveout.workshop.calendar import WorkCalendar, WorkingTime
from driveout.workshop.finish import finish_chances, pert
from driveout.workshop.plan import After, Operation, Plan
from driveout.workshop.rcpsp import CriticalPath, Project, critical_path, solve_project
from driveout.workshop.schedule import plan_work

Three = tuple[float, float, float]
Network = dict[str, tuple[Three, str]]

# Estimates (shortest, likely, longest) and what each activity waits for, as printed.
NETWORKS: dict[str, Network] = {
    "porta-vac": {
        "A": ((4, 5, 12), ""), "B": ((1, 1.5, 5), ""), "C": ((2, 3, 4), "A"), "D": ((3, 4, 11), "A"),
        "E": ((2, 3, 4), "A"), "F": ((1.5, 2, 2.5), "C"), "G": ((1.5, 3, 4.5), "D"), "H": ((2.5, 3.5, 7.5), "BE"),
        "I": ((1.5, 2, 2.5), "H"), "J": ((1, 2, 3), "FGI"),
    },
    "milwaukee": {
        "A": ((1, 2, 3), ""), "B": ((2, 3, 4), ""), "C": ((1, 2, 3), "A"), "D": ((2, 4, 6), "B"),
        "E": ((1, 4, 7), "C"), "F": ((1, 2, 9), "C"), "G": ((3, 4, 11), "DE"), "H": ((1, 2, 3), "FG"),
    },
    "fourteen": {
        "A": ((5, 5, 7), ""), "B": ((1, 2, 5), ""), "C": ((5, 5, 5), "A"), "D": ((4, 8, 13), "A"),
        "E": ((1, 10, 17), "BC"), "F": ((1, 5, 7), "D"), "G": ((2, 6, 9), "D"), "H": ((4, 4, 6), "EF"),
        "I": ((2, 7, 10), "GH"), "J": ((2, 4, 7), "I"), "K": ((6, 10, 13), "I"), "L": ((2, 6, 6), "J"),
        "M": ((2, 2, 3), "K"), "N": ((7, 7, 12), "LM"),
    },
    # Only the path 1-3-5-7 is printed with its values; the others are shorter whatever they wait for.
    "taylor": {
        "1": ((5, 8, 17), ""), "2": ((7, 10, 13), ""), "3": ((3, 5, 7), "1"), "4": ((1, 3, 5), "2"),
        "5": ((4, 6, 8), "3"), "6": ((3, 3, 3), "4"), "7": ((3, 4, 5), "56"),
    },
    # Time estimates from memory of the book's table; the printed totals (44, 9) fix them.
    "reliable": {
        "A": ((1, 2, 3), ""), "B": ((2, 3.5, 8), "A"), "C": ((6, 9, 18), "B"), "D": ((4, 5.5, 10), "C"),
        "E": ((1, 4.5, 5), "C"), "F": ((4, 4, 10), "E"), "G": ((5, 6.5, 11), "D"), "H": ((5, 8, 17), "EG"),
        "I": ((3, 7.5, 9), "C"), "J": ((3, 9, 9), "FI"), "K": ((4, 4, 4), "J"), "L": ((1, 5.5, 7), "J"),
        "M": ((1, 2, 3), "H"), "N": ((5, 5.5, 9), "KL"),
    },
}  # fmt: skip


def dates(network: str) -> CriticalPath:
    """Early and late dates with the mean durations."""
    rows = NETWORKS[network]
    place = {name: n for n, name in enumerate(rows)}
    means = [pert(*three).mean for three, _ in rows.values()]
    return critical_path(means, [[place[name] for name in before] for _, before in rows.values()])


def date(network: str, activity: str, which: str) -> float:
    """One date of one activity."""
    return float(getattr(dates(network), which)[list(NETWORKS[network]).index(activity)])


def critical(network: str) -> str:
    """Names on the critical path."""
    names = list(NETWORKS[network])
    return "-".join(names[j] for j in dates(network).critical)


def normal_chance(network: str, deadline: float) -> dict[str, float]:
    """The textbook figure: critical path taken as normal with standard deviations of a sixth of the range."""
    found = dates(network)
    rows = list(NETWORKS[network].values())
    variance = sum(((rows[j][0][2] - rows[j][0][0]) / 6) ** 2 for j in found.critical)
    z = (deadline - found.length) / math.sqrt(variance)
    return {"variance": variance, "chance": 0.5 * (1 + math.erf(z / math.sqrt(2)))}


UNIT = 1440  # one day or week of the network, in minutes, so that rounding to minutes does not show


def side_by_side(rows: dict[str, tuple[Operation, str]]) -> Plan:
    """A plan in which nobody works: all activities run beside each other on the clock."""
    origin = datetime.date(2026, 3, 2)
    operations = tuple(
        Operation(o.id, o.id, o.minutes, tuple(After(b) for b in before), who="nobody", spread=o.spread)
        for o, before in rows.values()
    )
    start = datetime.datetime.combine(origin, datetime.time())
    return Plan(start, WorkCalendar(origin, ((0, 400 * UNIT),)), operations, grid_minutes=1)


@cache
def played(network: str) -> np.ndarray:
    """Ends of 200,000 runs with beta laws, in units of the network."""
    rows = {
        name: (
            Operation(
                name, minutes=UNIT * three[1], spread=pert(UNIT * three[0], UNIT * three[1], UNIT * three[2])
            ),
            before,
        )
        for name, (three, before) in NETWORKS[network].items()
    }
    schedule = plan_work(side_by_side(rows))
    return finish_chances(schedule, np.random.default_rng(7), samples=200_000).ends / UNIT


def played_chance(network: str, deadline: float) -> float:
    """Chance of the deadline when every path can turn out the longest."""
    return float(np.mean(played(network) <= deadline))


def bridge_mean() -> float:
    """Mean completion of the five-arc bridge, unit exponential durations (a gamma law of shape 1)."""
    rows = {
        name: (Operation(name, minutes=UNIT, spread=Gamma(1.0, float(UNIT))), before)
        for name, before in {"1": "", "2": "", "3": "1", "4": "1", "5": "23"}.items()
    }
    finish = finish_chances(plan_work(side_by_side(rows)), np.random.default_rng(11), samples=200_000)
    return float(finish.ends.mean() / UNIT)


def planned_length(network: str) -> float:
    """Length by the plan of days when nobody works and durations are the means."""
    rows = {
        name: (Operation(name, minutes=round(UNIT * pert(*three).mean)), before)
        for name, (three, before) in NETWORKS[network].items()
    }
    plan = side_by_side(rows)
    return (plan_work(plan).finish - plan.start) / datetime.timedelta(minutes=UNIT)


def work_ends(start_seconds: int, work_seconds: int, days: int) -> str:
    """End of work on shifts 8 to 17 with lunch 12 to 13, calendar in seconds from Monday midnight."""
    windows = [
        (day * 86400 + a * 3600, day * 86400 + b * 3600)
        for day in range(days)
        for a, b in ((8, 12), (13, 17))
    ]
    time = WorkingTime(tuple(windows))
    end = time.end_clock(time.worked_at(start_seconds) + work_seconds)
    return f"{end // 86400} {end % 86400 // 3600:02d}:{end % 3600 // 60:02d}:{end % 60:02d}"


def goes_on(start_hour: int, hours: int) -> str:
    """Work from Friday on shifts 8 to 17 without Saturday and Sunday: when the next work starts."""
    windows = tuple((day * 24 + 8, day * 24 + 17) for day in (4, 7))
    time = WorkingTime(windows)
    clock = time.start_clock(time.worked_at(4 * 24 + start_hour) + hours)
    return f"{('Fri', 'Sat', 'Sun', 'Mon')[clock // 24 - 4]} {clock % 24:02d}:00"


def python_mip_example() -> int:
    """Ten jobs on two resources of 6 and 8."""
    links = (
        (0, 1), (0, 2), (0, 3), (1, 4), (1, 5), (2, 9), (2, 10), (3, 8), (4, 6),
        (4, 7), (5, 9), (5, 10), (6, 8), (6, 9), (7, 8), (8, 11), (9, 11), (10, 11),
    )  # fmt: skip
    demands = (
        (0, 0), (5, 1), (0, 4), (1, 4), (1, 3), (3, 2), (3, 1), (2, 4), (4, 0), (5, 2), (2, 5), (0, 0),
    )  # fmt: skip
    after = tuple(tuple(i for i, j in links if j == n) for n in range(12))
    plan = solve_project(
        Project((0, 3, 2, 5, 4, 2, 3, 4, 2, 4, 6, 0), after, demands, (6, 8)), 20, np.random.default_rng(1)
    )
    assert plan.is_proven
    return plan.makespan


# Rows are jobs, pairs are (machine, duration) in the order of the job.
SHOPS = {
    "ft06": (
        ((2, 1), (0, 3), (1, 6), (3, 7), (5, 3), (4, 6)), ((1, 8), (2, 5), (4, 10), (5, 10), (0, 10), (3, 4)),
        ((2, 5), (3, 4), (5, 8), (0, 9), (1, 1), (4, 7)), ((1, 5), (0, 5), (2, 5), (3, 3), (4, 8), (5, 9)),
        ((2, 9), (1, 3), (4, 5), (5, 4), (0, 3), (3, 1)), ((1, 3), (3, 3), (5, 9), (0, 10), (4, 4), (2, 1)),
    ),
    "la01": (
        ((1, 21), (0, 53), (4, 95), (3, 55), (2, 34)), ((0, 21), (3, 52), (4, 16), (2, 26), (1, 71)),
        ((3, 39), (4, 98), (1, 42), (2, 31), (0, 12)), ((1, 77), (0, 55), (4, 79), (2, 66), (3, 77)),
        ((0, 83), (3, 34), (2, 64), (1, 19), (4, 37)), ((1, 54), (2, 43), (4, 79), (0, 92), (3, 62)),
        ((3, 69), (4, 77), (1, 87), (2, 87), (0, 93)), ((2, 38), (0, 60), (1, 41), (3, 24), (4, 83)),
        ((3, 17), (1, 49), (4, 25), (0, 44), (2, 98)), ((4, 77), (3, 79), (2, 43), (1, 75), (0, 96)),
    ),
}  # fmt: skip


def job_shop(name: str) -> int:
    """Length of a job shop as a project whose machines are resources of one."""
    durations: list[int] = []
    after: list[tuple[int, ...]] = []
    demands: list[tuple[int, ...]] = []
    machines = len(SHOPS[name][0])
    for job in SHOPS[name]:
        for n, (machine, duration) in enumerate(job):
            after.append((len(durations) - 1,) if n else ())
            durations.append(duration)
            demands.append(tuple(int(m == machine) for m in range(machines)))
    plan = solve_project(
        Project(tuple(durations), tuple(after), tuple(demands), (1,) * machines), 30, np.random.default_rng(1)
    )
    assert plan.is_proven
    return plan.makespan


# j301_1 of the library: successors (jobs from 1), duration and the one resource each job takes.
J301_SUCCESSORS = (
    (2, 3, 4), (6, 11, 15), (7, 8, 13), (5, 9, 10), (20,), (30,), (27,), (12, 19, 27), (14,), (16, 25), (20, 26),
    (14,), (17, 18), (17,), (25,), (21, 22), (22,), (20, 22), (24, 29), (23, 25), (28,), (23,), (24,), (30,),
    (30,), (31,), (28,), (31,), (32,), (32,), (32,), (),
)  # fmt: skip
J301_WORK = (
    (0, 0, 0), (8, 0, 4), (4, 0, 10), (6, 3, 3), (3, 0, 3), (8, 3, 8), (5, 0, 4), (9, 1, 1), (2, 0, 6), (7, 3, 1),
    (9, 1, 5), (2, 1, 7), (6, 0, 4), (3, 1, 8), (9, 0, 3), (10, 3, 5), (6, 3, 8), (5, 3, 7), (3, 1, 1), (7, 1, 10),
    (2, 3, 6), (7, 0, 2), (2, 0, 3), (3, 1, 9), (3, 0, 4), (7, 2, 4), (8, 3, 7), (3, 1, 8), (7, 1, 7), (2, 1, 7),
    (2, 2, 2), (0, 0, 0),
)  # fmt: skip


def j301_1() -> int:
    """First project of the library with 30 jobs."""
    after = tuple(tuple(i for i, row in enumerate(J301_SUCCESSORS) if n + 1 in row) for n in range(32))
    demands = tuple(tuple(u if r == k else 0 for k in range(4)) for _, r, u in J301_WORK)
    project = Project(tuple(d for d, _, _ in J301_WORK), after, demands, (12, 13, 4, 12))
    plan = solve_project(project, 30, np.random.default_rng(1))
    assert plan.is_proven
    return plan.makespan
