"""The yard's choices against other routes: every order tried, another solver, closed forms."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from ortools.sat.python import cp_model
from scipy.special import lambertw

from driveout.yard import Chance, Hours, Job, Reason, long_run, long_run_by_programme, today_list
from driveout.yard.job import CarInWork, best_order, pull_of, waiting_cost

LIMITS = ("daylight", "helper", "rental")


def some_jobs(rng: np.random.Generator, count: int) -> list[Job]:
    jobs: list[Job] = []
    for n in range(count):
        earlier = [job.key for job in jobs if rng.random() < 0.3][-1:]
        needs = frozenset(need for need in LIMITS if rng.random() < 0.25)
        worth = float(rng.integers(1, 60))
        jobs.append(
            Job(
                f"j{n}",
                1,
                "Linnet",
                f"thing {n}",
                5.0 * int(rng.integers(1, 20)),
                (Reason("", worth),),
                after=tuple(earlier),
                needs=needs,
            )
        )
    return jobs


def keeps_limits(order: tuple[Job, ...], hours: Hours) -> bool:
    clock, done = 0.0, set[str]()
    for job in order:
        clock += job.minutes
        if clock > hours.until(job.needs) + 1e-9 or any(key not in done for key in job.after):
            return False
        done.add(job.key)
    return True


@pytest.mark.parametrize("seed", range(25))
def test_no_order_of_any_things_is_worth_more_than_the_list(seed: int) -> None:
    rng = np.random.default_rng(seed)
    jobs = some_jobs(rng, 6)
    hours = Hours(*(5.0 * int(rng.integers(10, 50)) for _ in range(4)))
    best = 0.0
    for size in range(len(jobs) + 1):
        for order in itertools.permutations(jobs, size):
            worth = sum(job.worth for job in order)
            if worth > best and keeps_limits(order, hours):
                best = worth

    found = today_list(jobs, hours)
    assert found.worth == pytest.approx(best)
    assert keeps_limits(tuple(one.job for one in found.placed), hours)


@pytest.mark.parametrize("seed", range(8))
def test_a_long_list_is_worth_what_another_solver_finds(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    jobs = some_jobs(rng, 24)
    hours = Hours(480, 240, 180, 300)
    model = cp_model.CpModel()
    taken, starts, bars = {}, {}, []
    for job in jobs:
        taken[job.key] = model.new_bool_var("")
        starts[job.key] = model.new_int_var(0, 480, "")
        end = model.new_int_var(0, 480, "")
        bars.append(
            model.new_optional_interval_var(starts[job.key], int(job.minutes), end, taken[job.key], "")
        )
        model.add(end <= int(hours.until(job.needs))).only_enforce_if(taken[job.key])
        for earlier in job.after:
            model.add_implication(taken[job.key], taken[earlier])
            before = next(one for one in jobs if one.key == earlier)
            model.add(starts[earlier] + int(before.minutes) <= starts[job.key]).only_enforce_if(
                taken[job.key]
            )
    model.add_no_overlap(bars)
    model.maximize(sum(int(job.worth) * taken[job.key] for job in jobs))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = 20

    assert solver.solve(model) == cp_model.OPTIMAL
    found = today_list(jobs, hours)
    assert found.is_exact
    assert found.worth == pytest.approx(solver.objective_value)


@pytest.mark.parametrize("seed", range(10))
def test_no_order_of_finishing_costs_less_than_the_best_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    cars = [CarInWork(n, f"car {n}", *(float(x) for x in rng.uniform(1, 40, 2))) for n in range(5)]
    least = min(waiting_cost(order, 1.3) for order in itertools.permutations(cars))

    assert waiting_cost(best_order(cars), 1.3) == pytest.approx(least)


def test_the_pull_of_a_car_is_what_one_hour_less_of_it_saves() -> None:
    cars = [CarInWork(1, "A", 30, 12), CarInWork(2, "B", 8, 9), CarInWork(3, "C", 50, 4)]
    for n, car in enumerate(cars):
        less = [
            *cars[:n],
            CarInWork(car.car_id, car.name, car.hours_left - 1e-4, car.per_day),
            *cars[n + 1 :],
        ]
        saved = (waiting_cost(best_order(cars), 1.3) - waiting_cost(best_order(less), 1.3)) / 1e-4

        assert pull_of(cars, 1.3)[car.car_id].per_hour == pytest.approx(saved, rel=1e-6)


@pytest.mark.parametrize("seed", range(40))
def test_the_long_run_rate_is_the_same_by_two_routes(seed: int) -> None:
    rng = np.random.default_rng(seed)
    size = int(rng.integers(1, 12))
    chances = [
        Chance(
            f"c{n}", float(rng.normal(50_000, 90_000)), float(rng.uniform(0, 60)), float(rng.uniform(0.1, 1))
        )
        for n in range(size)
    ]
    search = float(rng.uniform(0.5, 20))

    first = long_run(chances, search).rate
    assert long_run_by_programme(chances, search) == pytest.approx(first, abs=1e-6, rel=1e-9)


def test_the_long_run_rate_of_exponential_gains_has_a_closed_form() -> None:
    # g solves E[max(X - g T, 0)] = g s with X exponential: g = (mean / T) W(T / s).
    mean, time, search = 900.0, 25.0, 5.0
    shares = (np.arange(200_000) + 0.5) / 200_000
    chances = [Chance("", float(x), time) for x in -mean * np.log1p(-shares)[::40]]
    closed = mean / time * float(lambertw(time / search).real)

    assert long_run(chances, search).rate == pytest.approx(closed, rel=2e-3)


def test_a_car_that_is_always_taken_earns_its_gain_over_its_cycle() -> None:
    assert math.isclose(long_run([Chance("A", 1500.0, 25.0)], 5.0).rate, 50.0)
