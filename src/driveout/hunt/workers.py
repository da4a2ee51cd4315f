"""The pieces of a table shared among processes of this machine, or a Dask cluster."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from datetime import date
from typing import Any

from driveout.errors import BadEntry, CannotSay
from driveout.files import Table
from driveout.hunt.advert import MoneyRange
from driveout.hunt.setting import Setting
from driveout.hunt.sift import Sifted, sift_chunk

Piece = tuple[list[Sifted], list[BadEntry]]


@dataclass(frozen=True, eq=False)
class Job:
    """What every worker needs besides its pieces."""

    setting: Setting
    today: date
    value: MoneyRange | None = None


def on_this_machine(pieces: Mapping[int, Table], job: Job, workers: int) -> Iterator[tuple[int, Piece]]:
    """Weigh pieces in processes of this machine.

    Each process starts afresh, so that one worker computes exactly what two do.

    Parameters
    ----------
    pieces
        Pieces by number.
    job
        Rules and knowledge.
    workers
        Number of processes, at least 1.

    Yields
    ------
    tuple[int, Piece]
        Number and outcome of each piece as it is done.
    """
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_start, initargs=(job,)) as pool:
        yield from _as_done(pieces, lambda number, piece: pool.submit(_work, number, piece), 3 * workers)


_job: Job | None = None


def _start(job: Job) -> None:
    """Keep what every piece needs in the worker, once."""
    global _job
    _job = job


def _work(number: int, piece: Table) -> tuple[int, Piece]:
    if _job is None:
        raise RuntimeError("the worker was not started with its job")
    return number, sift_chunk(piece, _job.setting, _job.today, _job.value)


def _as_done(
    pieces: Mapping[int, Table], submit: Callable[[int, Table], Future[tuple[int, Piece]]], ahead: int
) -> Iterator[tuple[int, Piece]]:
    """Hand out a few pieces ahead, so that stopping half-way loses little."""
    todo = iter(pieces.items())
    running: set[Future[tuple[int, Piece]]] = set()
    more = True
    while more or running:
        while more and len(running) < ahead:
            item = next(todo, None)
            if item is None:
                more = False
                break
            running.add(submit(*item))
        done, running = wait(running, return_when=FIRST_COMPLETED)
        for future in done:
            yield future.result()


def on_a_cluster(
    pieces: Mapping[int, Table], job: Job, address: str, patience_s: float = 10.0
) -> Iterator[tuple[int, Piece]]:
    """Weigh pieces on the workers of a Dask cluster; they need driveout installed.

    Parameters
    ----------
    pieces
        Pieces by number.
    job
        Rules and knowledge, sent to each worker once.
    address
        Address of the scheduler, such as ``tcp://host:8786``.
    patience_s
        How long to wait for it. [s]

    Yields
    ------
    tuple[int, Piece]
        Number and outcome of each piece as it is done.

    Raises
    ------
    CannotSay
        If the extra ``cluster`` is not installed.
    BadEntry
        If no scheduler answers at the address.
    """
    try:
        from distributed import Client, as_completed
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
        shared = client.scatter(job, broadcast=True)
        futures = [
            client.submit(_weigh_on_cluster, number, piece, shared, pure=False)
            for number, piece in pieces.items()
        ]
        for future in as_completed(futures):
            yield future.result()
            future.release()


def _weigh_on_cluster(number: int, piece: Table, job: Job) -> tuple[int, Piece]:
    return number, sift_chunk(piece, job.setting, job.today, job.value)
