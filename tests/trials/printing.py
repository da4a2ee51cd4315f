"""Prints a buyer's file and an archive of a record and measures the memory; JSON on the last line.

``python -m tests.trials.printing HOME URL CAR``.
"""

from __future__ import annotations

import json
import resource
import sys
from pathlib import Path

from driveout.app import ready_store
from driveout.selling.actions import printed_buyers_file
from driveout.store import write_archive
from tests.trials.killing import AT


def peak_mb() -> float:
    """Most memory held so far. Linux counts it anew for a new program; the other count starts at its parent's."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(one for one in status.read_text().splitlines() if one.startswith("VmHWM:"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    home, url, car = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    store = ready_store(home, None if url == "-" else url)
    opened = peak_mb()
    write_archive(store, home / "whole.zip")
    archive = peak_mb()
    with store.reading() as tx:
        pdf = printed_buyers_file(tx, home, car, AT.date())
    peaks = {
        "opened_peak_mb": round(opened),
        "archive_peak_mb": round(archive),
        "print_peak_mb": round(peak_mb()),
    }
    print(json.dumps({**peaks, "pdf_kb": len(pdf) // 1024}))
