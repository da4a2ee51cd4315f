"""The pieces of a table shared among processes of this machine, or a Dask cluster."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from typing import Any, Protocol

from driveout.errors import BadEntry, CannotSay
from driveout.files import Table
from driveout.hunt.advert import MoneyRange
from driveout.hunt.setting import Setting
from driveout.hunt.sift import Sifted, first_look, sift_chunk

Piece = tuple[list[Sifted], list[BadEntry]]
Outcomes = Iterator[tuple[int, Piece]]


@dataclass(frozen=True, eq=False)
class Job:
    """What every worker needs besides its pieces."""

    setting: Setting
    today: date
    value: MoneyRange | None = None

    def first_look(self, piece: Table) -> Piece:
        """Look at each advert of a piece by the loss rule alone."""
        return first_look(piece, self.setting, self.today, self.value)

    def weighing(self, piece: Table) -> Piece:
        """Weigh each advert of a piece by every rule."""
        return sift_chunk(piece, self.setting, self.today, self.value)


class Crew(Protocol):
    """Workers that are ready: both kinds of work on pieces by number, handed back as they are done."""

    def first_looks(self, pieces: Mapping[int, Table]) -> Outcomes:
        """Take the first look at each piece."""
        ...

    def weighings(self, pieces: Mapping[int, Table]) -> Outcomes:
        """Weigh each piece."""
        ...


class _Machine:
    """Processes of this machine."""

    def __init__(self, pool: ProcessPoolExecutor, workers: int) -> None:
        self.pool, self.workers = pool, workers

    def first_looks(self, pieces: Mapping[int, Table]) -> Outcomes:
        return self._as_done(pieces, _first_look)

    def weighings(self, pieces: Mapping[int, Table]) -> Outcomes:
        return self._as_done(pieces, _weighing)

    def _as_done(
        self, pieces: Mapping[int, Table], work: Callable[[int, Table], tuple[int, Piece]]
    ) -> Outcomes:
        """Hand out a few pieces ahead, so that stopping half-way loses little."""
        todo = iter(pieces.items())
        running: set[Future[tuple[int, Piece]]] = set()
        more = True
        while more or running:
            while more and len(running) < 3 * self.workers:
                item = next(todo, None)
                if item is None:
                    more = False
                    break
                running.add(self.pool.submit(work, *item))
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                yield future.result()


class _Cluster:
    """Workers of a Dask cluster."""

    def __init__(self, client: Any, job: Job) -> None:
        self.client = client
        self.shared = client.scatter(job, broadcast=True)

    def first_looks(self, pieces: Mapping[int, Table]) -> Outcomes:
        return self._as_done(pieces, _first_look_of)

    def weighings(self, pieces: Mapping[int, Table]) -> Outcomes:
        return self._as_done(pieces, _weighing_of)

    def _as_done(
        self, pieces: Mapping[int, Table], work: Callable[[int, Table, Job], tuple[int, Piece]]
    ) -> Outcomes:
        from distributed import as_completed

        futures = [
            self.client.submit(work, number, piece, self.shared, pure=False)
            for number, piece in pieces.items()
        ]
        for future in as_completed(futures):
            yield future.result()
            future.release()


@contextmanager
def machine_crew(job: Job, workers: int) -> Iterator[Crew]:
    """Processes of this machine; each starts afresh, so that one computes exactly what two do.

    Parameters
    ----------
    job
        Rules and knowledge.
    workers
        Number of processes, at least 1.

    Yields
    ------
    Crew
        The workers, until the block ends.
    """
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_start, initargs=(job,)) as pool:
        yield _Machine(pool, workers)


@contextmanager
def cluster_crew(job: Job, address: str, patience_s: float = 10.0) -> Iterator[Crew]:
    """Workers of a Dask cluster; they need driveout installed.

    Parameters
    ----------
    job
        Rules and knowledge, sent to each worker once.
    address
        Address of the scheduler, such as ``tcp://host:8786``.
    patience_s
        How long to wait for it. [s]

    Yields
    ------
    Crew
        The workers, until the block ends.

    Raises
    ------
    CannotSay
        If the extra ``cluster`` is not installed.
    BadEntry
        If no scheduler answers at the address.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise CannotSay(
            "Working on a cluster needs the extra: pip install driveout[cluster].", missing="distributed"
        ) from error
    try:
        client: Any = Client(address, timeout=patience_s)
    except (OSError, ValueError) as error:
        raise BadEntry(
            f"No Dask scheduler answers at {address}. Start one, or leave --cluster out.",
            field="cluster",
            value=address,
            fix="Start one, or leave --cluster out.",
        ) from error
    with client:
        yield _Cluster(client, job)


_job: Job | None = None


def _start(job: Job) -> None:
    """Keep what every piece needs in the worker, once."""
    global _job
    _job = job


def _mine() -> Job:
    if _job is None:
        raise RuntimeError("the worker was not started with its job")
    return _job


def _first_look(number: int, piece: Table) -> tuple[int, Piece]:
    return number, _mine().first_look(piece)


def _weighing(number: int, piece: Table) -> tuple[int, Piece]:
    return number, _mine().weighing(piece)


def _first_look_of(number: int, piece: Table, job: Job) -> tuple[int, Piece]:
    return number, job.first_look(piece)


def _weighing_of(number: int, piece: Table, job: Job) -> tuple[int, Piece]:
    return number, job.weighing(piece)
