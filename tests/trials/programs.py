"""Running the trials that need a process of their own."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]


def answer_of(
    module: str, *words: object, before: tuple[str, ...] = (), seconds: int = 170
) -> dict[str, Any]:
    """Run ``python -m tests.trials.MODULE WORDS`` and return the JSON that it prints last."""
    command = [*before, sys.executable, "-m", f"tests.trials.{module}", *map(str, words)]
    path = os.pathsep.join([str(ROOT / "src"), str(ROOT)])
    done = subprocess.run(
        command,
        env={**os.environ, "PYTHONPATH": path, "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=seconds,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def own_mounts() -> tuple[str, ...]:
    """Words before a command that let it mount a small disk of its own; empty where the system forbids it."""
    if shutil.which("unshare") is None:
        return ()
    for words in (("unshare", "-m"), ("unshare", "-rm")):
        trial = [*words, "mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", "/tmp"]
        if subprocess.run(trial, capture_output=True, check=False).returncode == 0:
            return words
    return ()
