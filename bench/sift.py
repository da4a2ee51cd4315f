"""Sifting 20,000 adverts with 1 and 2 workers: adverts a second, and how much of the second core is won.

One run is what ``driveout sift`` does: read every row, take the first look at all of them, weigh
the best 200 by every rule. Workers are started and warmed before the clock runs; efficiency is
the time with one worker over twice the time with two. Run it on two free cores.
"""

from __future__ import annotations

import argparse
import os
import statistics
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from driveout.faults import knowledge
from driveout.files import Table, csv_table
from driveout.hunt.setting import Setting
from driveout.hunt.sift import CLOSELY, FIRST_LOOK_ROWS, chunks_of, result_rows, worth_a_closer_look
from driveout.hunt.workers import Crew, Job, cluster_crew, machine_crew
from driveout.outlook import Rules

TODAY = date(2026, 11, 25)


def a_table(count: int) -> Table:
    """Adverts drawn with a fixed seed: three model years, usual mileages, up to four symptoms each."""
    rng = np.random.default_rng(7)
    names = [sign.id for sign in knowledge().signs.values() if sign.words]
    lines = ["name,asking,runs,symptoms,value,mileage_km,distance_km"]
    for n in range(count):
        value = int(rng.choice([2800, 3600, 4400]))
        runs = ("runner", "sick", "dead")[int(rng.choice(3, p=[0.6, 0.25, 0.15]))]
        said = rng.choice(names, size=int(rng.choice(5, p=[0.3, 0.3, 0.2, 0.15, 0.05])), replace=False)
        asking = round(value * float(rng.uniform(0.15, 0.8)), -1)
        km, far = int(rng.integers(60, 320)) * 1000, int(rng.integers(3, 80))
        lines.append(f"car {n},{asking:.0f},{runs},{' '.join(said)},{value},{km},{far}")
    return csv_table("\n".join(lines).encode(), "adverts.csv")


def sift_with(crew: Crew, table: Table, closely: int = CLOSELY) -> tuple[float, list[list[str]]]:
    """Seconds and result of one whole run."""
    began = time.perf_counter()
    looks = dict(crew.first_looks(dict(enumerate(chunks_of(table, FIRST_LOOK_ROWS)))))
    rough = [row for number in sorted(looks) for row in looks[number][0]]
    best = set(worth_a_closer_look(rough, closely))
    short = replace(table, rows=tuple(row for row in table.rows if row.line in best))
    closes = dict(crew.weighings(dict(enumerate(chunks_of(short)))))
    close = [row for number in sorted(closes) for row in closes[number][0]]
    rows = result_rows([*close, *(row for row in rough if row.line not in best)])
    return time.perf_counter() - began, rows


@contextmanager
def dask_crew(job: Job, workers: int) -> Iterator[Crew]:
    from distributed import LocalCluster

    with (
        LocalCluster(
            n_workers=workers, threads_per_worker=1, dashboard_address=None, silence_logs=50
        ) as cluster,
        cluster_crew(job, cluster.scheduler_address) as crew,
    ):
        yield crew


def run(argv: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="bench sift")
    parser.add_argument("--adverts", type=int, default=20_000)
    parser.add_argument("--rounds", type=int, default=1, help="alternating rounds; the median is reported")
    given = parser.parse_args(argv)
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"
    table, job = a_table(given.adverts), Job(Setting(Rules()), TODAY)
    warm = replace(table, rows=table.rows[: 3 * FIRST_LOOK_ROWS])
    seconds: dict[str, list[float]] = {}
    results = []
    for kind, crew_of in (("pool", machine_crew), ("dask", dask_crew)):
        with crew_of(job, 1) as one, crew_of(job, 2) as two:
            for crew in (one, two):
                sift_with(crew, warm, closely=60)
            for _ in range(given.rounds):
                for workers, crew in ((1, one), (2, two)):
                    took, rows = sift_with(crew, table)
                    seconds.setdefault(f"{kind}{workers}", []).append(took)
                    results.append(rows)
    middle = {key: statistics.median(values) for key, values in seconds.items()}
    return {
        "adverts": given.adverts,
        "rounds": given.rounds,
        "adverts_per_s": given.adverts / middle["pool2"],
        "adverts_per_s_one_worker": given.adverts / middle["pool1"],
        "efficiency": middle["pool1"] / (2 * middle["pool2"]),
        "dask_adverts_per_s": given.adverts / middle["dask2"],
        "dask_efficiency": middle["dask1"] / (2 * middle["dask2"]),
        "same_result": all(rows == results[0] for rows in results),
        "closely": CLOSELY,
        "load_before": os.getloadavg()[0],
    }
