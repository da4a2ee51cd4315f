"""Published projects with limited resources against PyJobShop: ``python -m bench psplib PATH [--seconds 5] [--only WORD]``.

PATH holds ``.sm`` files and, if there is one, ``best_known.csv`` (instance, lower bound, best known).
Both solvers get the same wall time and two threads, one after the other on each file in turn.
A plan is counted as proven when the solver itself says so; gaps are to the best known length.
"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np
import pyjobshop

from driveout.workshop.rcpsp import Project, read_project, solve_project


def peer(project: Project, seconds: float) -> tuple[int, bool]:
    """PyJobShop with its OR-Tools solver: length, and whether it is proven."""
    model = pyjobshop.Model()
    resources = [model.add_renewable(capacity=c) for c in project.capacities]
    tasks = []
    for duration, row in zip(project.durations, project.demands, strict=True):
        task = model.add_task()
        used = [(r, u) for r, u in zip(resources, row, strict=True) if u]
        model.add_mode(task, [r for r, _ in used], duration, demands=[u for _, u in used])
        tasks.append(task)
    for j, row in enumerate(project.after):
        for i in row:
            model.add_end_before_start(tasks[i], tasks[j])
    result = model.solve(solver="ortools", time_limit=seconds, num_workers=2, display=False)
    return int(result.objective), result.status.value == "Optimal"


def kept(project: Project, starts: tuple[int, ...]) -> bool:
    """Whether a plan keeps order and capacities, looked at period by period."""
    ends = [s + d for s, d in zip(starts, project.durations, strict=True)]
    if any(starts[j] < ends[i] for j, row in enumerate(project.after) for i in row):
        return False
    return all(
        sum(project.demands[j][r] for j in range(len(starts)) if starts[j] <= t < ends[j]) <= capacity
        for t in range(max(ends))
        for r, capacity in enumerate(project.capacities)
    )


def run(argv: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="bench psplib")
    parser.add_argument("path", type=Path)
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--only", default="", help="only files whose name holds this word")
    options = parser.parse_args(argv)
    known = {}
    table = options.path / "best_known.csv"
    if table.exists():
        known = {row["instance"]: int(row["best_known"]) for row in csv.DictReader(table.open())}
    files = sorted(f for f in options.path.glob("*.sm") if options.only in f.name)
    if not files:
        raise SystemExit(f"no .sm files in {options.path}")
    # Both libraries are loaded before the first file is timed.
    small = Project((1, 1), ((), (0,)), ((1,), (1,)), (1,))
    solve_project(small, 0.1, np.random.default_rng(0))
    peer(small, 0.1)
    rows = []
    for n, file in enumerate(files):
        project = read_project(file.read_text(), file.name)
        began = perf_counter()
        ours = solve_project(project, options.seconds, np.random.default_rng(n), clock=perf_counter)
        middle = perf_counter()
        theirs, theirs_proven = peer(project, options.seconds)
        ended = perf_counter()
        if not kept(project, ours.starts):
            raise AssertionError(f"{file.name}: a rule of the project is broken")
        best = known.get(file.stem, min(ours.makespan, theirs))
        if ours.makespan < best:
            raise AssertionError(f"{file.name}: {ours.makespan} is under the best known length {best}")
        rows.append(
            (
                ours.is_proven,
                theirs_proven,
                ours.makespan / best - 1,
                theirs / best - 1,
                middle - began,
                ended - middle,
            )
        )
    columns = list(zip(*rows, strict=True))
    mean = [float(np.mean(column)) for column in columns]
    return {
        "files": len(rows),
        "proven_ours": round(mean[0], 4),
        "proven_peer": round(mean[1], 4),
        "gap_ours": round(mean[2], 5),
        "gap_peer": round(mean[3], 5),
        "median_seconds_ours": round(float(np.median(columns[4])), 4),
        "median_seconds_peer": round(float(np.median(columns[5])), 4),
        "seconds": options.seconds,
    }
