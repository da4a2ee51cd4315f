"""How long pages take with 200 cars and 50,000 journal entries in the record.

A server process of its own, asked over a kept-alive loopback connection, so that the time holds everything but
the network and the browser. Pages are found by following links from the yard; of each route up to ``--kinds``
addresses, each first fetched once (``first_ms``: what nobody has looked at since the fact before), then ``--times``
more. ``p50_ms`` and ``p95_ms`` are over the later ones, ``after_fact_ms`` over fetches right after a new fact.
"""

from __future__ import annotations

import argparse
import http.client
import os
import re
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from driveout.app import ready_store, web_app
from driveout.cars.actions import change_facts, get_car
from driveout.simulate.actions import load_years
from tests.every_page import every_page


def run(argv: list[str]) -> dict[str, Any]:
    """Measure every page; see the module."""
    parser = argparse.ArgumentParser(prog="python -m bench pages")
    parser.add_argument("--cars", type=int, default=200)
    parser.add_argument("--entries", type=int, default=50_000)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--kinds", type=int, default=4)
    parser.add_argument("--times", type=int, default=12)
    parser.add_argument("--home", type=Path, help="a record that holds the sample years already")
    asked = parser.parse_args(argv)
    with tempfile.TemporaryDirectory() as folder:
        home = asked.home or Path(folder)
        store = ready_store(home)
        began = time.perf_counter()
        if asked.home is None:
            load_years(store, cars=asked.cars, entries=asked.entries, seed=asked.seed)
        loaded = time.perf_counter() - began
        routes = every_page(web_app(store), most_of_a_kind=asked.kinds)
        with Served(home) as server:
            first, again = {}, {}
            for route, addresses in routes.items():
                first[route] = [server.fetch(address) for address in addresses]
                again[route] = [server.fetch(address) for address in addresses for _ in range(asked.times)]
            after = _after_a_fact(server, store, routes)
            memory = server.memory_mb()
        store.close()
    every = [ms for times in again.values() for ms in times]
    p95 = {route: round(float(np.percentile(times, 95)), 1) for route, times in sorted(again.items())}
    return {
        "cars": asked.cars,
        "entries": asked.entries,
        "pages": len(every),
        "p50_ms": round(float(np.median(every)), 1),
        "p95_ms": p95,
        "p95_worst": max(p95.items(), key=lambda item: item[1]),
        "p95_all_ms": round(float(np.percentile(every, 95)), 1),
        "over_50_ms": sorted(route for route, ms in p95.items() if ms > 50),
        "first_ms": {route: round(max(times), 1) for route, times in sorted(first.items())},
        "after_fact_ms": after,
        "start_up_s": round(server.start_up, 2),
        "memory_mb": memory,
        "load_s": round(loaded, 1),
    }


def _after_a_fact(server: Served, store: Any, routes: dict[str, list[str]]) -> dict[str, float]:
    """Slowest fetch of each chapter of one car right after a new fact about it."""
    car = int(re.findall(r"/cars/(\d+)/", routes["/cars/{car_id}/viewing"][0])[0])
    slowest: dict[str, float] = {}
    for route in sorted(route for route in routes if re.fullmatch(r"/cars/\{car_id\}/[a-z]+", route)):
        with store.writing() as tx:
            mileage = (get_car(tx, car).mileage_km or 100_000) + 1
            change_facts(tx, car, {"mileage_km": mileage}, at=store.now())
        slowest[route] = round(server.fetch(route.format(car_id=car), lenient=True), 1)
    return slowest


class Served:
    """The program serving a record in a process of its own."""

    def __init__(self, home: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.home = home

    def __enter__(self) -> Served:
        began = time.perf_counter()
        words = [
            sys.executable,
            "-m",
            "driveout",
            "--home",
            str(self.home),
            "serve",
            "--port",
            str(self.port),
        ]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self.process = subprocess.Popen(words, env=os.environ.copy(), **quiet)  # type: ignore[call-overload]
        self.connection = http.client.HTTPConnection("localhost", self.port, timeout=60)
        while True:
            try:
                self.fetch("/")
                break
            except (ConnectionError, http.client.HTTPException):
                self.connection.close()
                time.sleep(0.02)
        self.start_up = time.perf_counter() - began
        return self

    def __exit__(self, *_: object) -> None:
        self.connection.close()
        self.process.terminate()
        self.process.wait(20)

    def fetch(self, address: str, *, lenient: bool = False) -> float:
        """Fetch a page; return the milliseconds until its last byte."""
        began = time.perf_counter()
        self.connection.request("GET", address)
        answer = self.connection.getresponse()
        answer.read()
        if answer.status >= (500 if lenient else 400):
            raise AssertionError(f"{address} answers {answer.status}")
        return (time.perf_counter() - began) * 1000

    def memory_mb(self) -> float:
        """Most memory that the server held, where the machine tells it."""
        status = Path(f"/proc/{self.process.pid}/status")
        found = re.search(r"VmHWM:\s+(\d+) kB", status.read_text()) if status.exists() else None
        return round(int(found.group(1)) / 1024, 1) if found else float("nan")
