"""Sets up the environment and runs driveout, its tests or any command in it. Standard library only.

python3 dev.py demo [--port N] [--no-browser]   set up and open the demo car
python3 dev.py test [PYTEST ARGUMENTS]          set up and pass every check and test
python3 dev.py check                            the quick checks only
python3 dev.py trials                           only the trials, on both engines; rewrites docs/trials.md
python3 dev.py audit                            ask for known faults of the libraries (needs uv and the network)
python3 dev.py run COMMAND ...                  any command in the same environment
python3 dev.py lock                             rewrite the lock files (needs uv)
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")

# The one list of checks that people and the automatic run share.
CHECKS: dict[str, list[str]] = {
    "style": ["ruff", "check", "."],
    "format": ["ruff", "format", "--check", "."],
    "import rules": ["lint-imports"],
    "types": ["mypy"],
    "docstrings": ["pydoclint", "-q", "src"],
}

# What the tests use besides Python packages: program -> Debian package.
PROGRAMS = {"chromium": "chromium", "hledger": "hledger", "ledger": "ledger", "pdftoppm": "poppler-utils"}
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


def say(text: str) -> None:
    """Tell the person what is going on."""
    print(f"dev: {text}", file=sys.stderr, flush=True)


def set_up(lock: str) -> None:
    """Make the environment from a lock file, again only when the lock file changed."""
    content = (ROOT / lock).read_bytes()
    mark = VENV / "driveout-lock"
    stamp = f"{lock} {hashlib.sha256(content).hexdigest()}"
    done = mark.read_text().splitlines() if mark.exists() else []
    larger = (
        f"requirements-dev.lock {hashlib.sha256((ROOT / 'requirements-dev.lock').read_bytes()).hexdigest()}"
    )
    if PYTHON.exists() and (stamp in done or larger in done):
        return
    say(f"setting up the environment from {lock} ...")
    began = time.monotonic()
    uv = shutil.which("uv")
    if not PYTHON.exists():
        make = (
            [uv, "venv", "-q", "--python", sys.executable, str(VENV)]
            if uv
            else [sys.executable, "-m", "venv", str(VENV)]
        )
        if subprocess.run(make, check=False).returncode:
            raise SystemExit("The environment could not be made. On Debian: apt-get install python3-venv")
    if uv:
        install = [uv, "pip", "sync", "-q", "--require-hashes", "--python", str(PYTHON), lock]
    else:
        install = [
            str(PYTHON),
            "-m",
            "pip",
            "install",
            "-q",
            "--require-hashes",
            "--disable-pip-version-check",
            "-r",
            lock,
        ]
    subprocess.run(install, check=True, cwd=ROOT)
    site = next(VENV.glob("lib/python*/site-packages"), VENV / "Lib" / "site-packages")
    (site / "driveout-source.pth").write_text(f"{ROOT / 'src'}\n")
    script = BIN / "driveout"
    script.write_text(f"#!{PYTHON}\nfrom driveout.app import main\n\nmain()\n")
    script.chmod(0o755)
    mark.write_text("\n".join([stamp]))
    say(f"environment ready after {time.monotonic() - began:.0f} s")


def environment(**extra: str) -> dict[str, str]:
    """Environment in which every command runs."""
    path = os.pathsep.join([str(BIN), os.environ.get("PATH", "")])
    python_path = os.pathsep.join([str(ROOT / "src"), str(ROOT)])
    return {**os.environ, "PATH": path, "PYTHONPATH": python_path, "VIRTUAL_ENV": str(VENV), **extra}


def run(command: Sequence[str], **extra: str) -> int:
    """Run one command in the environment and return its exit code."""
    found = shutil.which(command[0], path=environment()["PATH"])
    if found is None:
        raise SystemExit(f"{command[0]!r} is not a command in the environment.")
    return subprocess.run([found, *command[1:]], check=False, env=environment(**extra), cwd=ROOT).returncode


def install_programs(missing: dict[str, str]) -> None:
    """Install Debian packages for the tests, or say what to install."""
    wanted = sorted(set(missing.values()))
    apt = shutil.which("apt-get")
    if apt is None or (hasattr(os, "geteuid") and os.geteuid() != 0):
        raise SystemExit(
            f"The tests need {', '.join(missing)}. On Debian: sudo apt-get install {' '.join(wanted)}"
        )
    say(f"installing {', '.join(wanted)} ...")
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    subprocess.run([apt, "update", "-qq"], check=False, env=quiet, stdout=subprocess.DEVNULL)
    command = [apt, "install", "-y", "-qq", "--no-install-recommends", *wanted]
    subprocess.run(command, check=True, env=quiet, stdout=subprocess.DEVNULL)


def postgres_bin() -> Path | None:
    """Folder of PostgreSQL's server programs."""
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


def find_programs() -> dict[str, str]:
    """Make sure that the browser, PostgreSQL and the accounting judges are there; return their places."""
    chromium = next((path for name in CHROMIUM_NAMES if (path := shutil.which(name))), None)
    missing = {
        name: package for name, package in PROGRAMS.items() if name != "chromium" and not shutil.which(name)
    }
    if chromium is None:
        missing["chromium"] = PROGRAMS["chromium"]
        missing["fonts"] = "fonts-dejavu-core"
    if postgres_bin() is None:
        missing["PostgreSQL"] = "postgresql"
    if missing:
        install_programs(missing)
    chromium = chromium or next((path for name in CHROMIUM_NAMES if (path := shutil.which(name))), None)
    if chromium is None or postgres_bin() is None:
        raise SystemExit("Chromium or PostgreSQL is still missing after the installation.")
    return {"DRIVEOUT_CHROMIUM": chromium}


@contextlib.contextmanager
def postgres() -> Iterator[str]:
    """Start a PostgreSQL of our own in a temporary folder and yield its address."""
    programs = postgres_bin()
    if programs is None:
        raise SystemExit("PostgreSQL is missing.")
    # The server refuses to run as root, so it runs as its own user there.
    as_user = ["runuser", "-u", "postgres", "--"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    folder = Path(tempfile.mkdtemp(prefix="driveout-pg-"))
    if as_user:
        shutil.chown(folder, "postgres")
    data = folder / "data"
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    quiet = {"check": True, "stdout": subprocess.DEVNULL, "cwd": "/"}
    initialise = [
        str(programs / "initdb"),
        "-D",
        str(data),
        "-U",
        "postgres",
        "-A",
        "trust",
        "-E",
        "UTF8",
        "--no-sync",
    ]
    subprocess.run([*as_user, *initialise, "--locale=C"], **quiet)  # type: ignore[call-overload]
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder} -c fsync=off"
    control = [*as_user, str(programs / "pg_ctl"), "-D", str(data), "-w"]
    subprocess.run([*control, "-o", options, "-l", str(folder / "log"), "start"], **quiet)  # type: ignore[call-overload]
    try:
        yield f"postgresql://postgres@127.0.0.1:{port}/postgres"
    finally:
        subprocess.run([*control, "-m", "immediate", "stop"], check=False, stdout=subprocess.DEVNULL, cwd="/")
        shutil.rmtree(folder, ignore_errors=True)


def checks() -> None:
    """Run the quick checks; stop at the first that fails, after naming it."""
    failed = []
    for name, command in CHECKS.items():
        began = time.monotonic()
        code = run(command)
        say(f"{name}: {'ok' if code == 0 else 'FAILED'} ({time.monotonic() - began:.1f} s)")
        if code:
            failed.append(name)
    for lock in ("requirements.lock", "requirements-dev.lock"):
        if "://" in (ROOT / lock).read_text():
            failed.append(f"{lock} names a host")
    if failed:
        raise SystemExit(f"failed: {', '.join(failed)}")


def test(arguments: list[str]) -> int:
    """Set up and pass everything: checks, then every test with browser and PostgreSQL."""
    set_up("requirements-dev.lock")
    places = find_programs()
    if not arguments:
        checks()
    with postgres() as url:
        # One thread each: on two cores the linear algebra of test oracles only gets in its own way.
        shared = {"DRIVEOUT_TEST_POSTGRES": url, "OMP_NUM_THREADS": "1", **places}
        code = timed("tests", ["pytest", *(arguments or ["-n", "2"])], **shared)
        if not arguments:
            # The same suite once more: what works on a record, now on PostgreSQL.
            crew = timed("tests on PostgreSQL", ["pytest", "-n", "2", "tests"], **CREW, **shared)
            code = code or crew
    return code


CREW = {"DRIVEOUT_TEST_ENGINE": "postgres"}


def timed(name: str, command: list[str], **extra: str) -> int:
    """Run one command and say how it ended and how long it took."""
    began = time.monotonic()
    code = run(command, **extra)
    say(f"{name}: {'ok' if code == 0 else 'FAILED'} ({time.monotonic() - began:.0f} s)")
    return code


TRIALS_PAGE = """# Trials

What must not be lost and which ways in must stay shut, tried by `tests/trials` and counted while they run. Written by
`python3 dev.py trials`; `python3 dev.py test` prints the same counts. A trial that counts something other than it should
fails, so the noughts below are held by the tests. Where it is cheap, a test beside a trial takes its guard away and
shows that the trial notices.
"""


def trials() -> int:
    """Run the trials on both engines and write down what they counted."""
    set_up("requirements-dev.lock")
    places = find_programs()
    page = ROOT / "docs" / "trials.md"
    audit_part = page.read_text(encoding="utf-8") if page.exists() else ""
    at = audit_part.find("\n## Known faults of the libraries")
    counts = ROOT / ".venv" / "trials.md"
    counts.unlink(missing_ok=True)
    with postgres() as url:
        shared = {
            "DRIVEOUT_TEST_POSTGRES": url,
            "OMP_NUM_THREADS": "1",
            "DRIVEOUT_TRIALS": str(counts),
            **places,
        }
        command = ["pytest", "-n", "2", "tests/trials"]
        code = timed("trials", command, **shared)
        crew = timed("trials on PostgreSQL", command, **CREW, **shared)
    if code == 0 and crew == 0:
        kept = audit_part[at:] if at >= 0 else ""
        page.write_text(TRIALS_PAGE + counts.read_text(encoding="utf-8") + kept, encoding="utf-8")
    return code or crew


def audit() -> int:
    """Ask the advisory service about every locked library; nothing of the person's is sent, only names and versions."""
    uv = shutil.which("uv")
    if uv is None:
        raise SystemExit("The audit needs uv (pip install uv).")
    code = 0
    for lock_file in ("requirements.lock", "requirements-dev.lock"):
        command = [
            uv,
            "tool",
            "run",
            "pip-audit",
            "-r",
            lock_file,
            "--disable-pip",
            "--require-hashes",
            "--strict",
        ]
        code = timed(f"audit of {lock_file}", command) or code
    return code


def lock() -> int:
    """Rewrite both lock files without any host in them."""
    common = [
        "--universal",
        "--python-version",
        "3.11",
        "--generate-hashes",
        "--no-emit-index-url",
        "--no-header",
        "-q",
    ]
    for extra, name in ((), "requirements.lock"), (("--extra", "test"), "requirements-dev.lock"):
        command = ["uv", "pip", "compile", "pyproject.toml", *extra, *common, "-o", name]
        subprocess.run(command, check=True, cwd=ROOT)
    return 0


def main(arguments: list[str]) -> int:
    """Carry out one recipe."""
    recipe, rest = (arguments[0], arguments[1:]) if arguments else ("", [])
    if recipe == "demo":
        set_up("requirements.lock")
        return run(["driveout", "demo", *rest])
    if recipe == "test":
        return test(rest)
    if recipe == "check":
        set_up("requirements-dev.lock")
        checks()
        return 0
    if recipe == "run" and rest:
        set_up("requirements-dev.lock")
        return run(rest)
    if recipe == "trials":
        return trials()
    if recipe == "audit":
        return audit()
    if recipe == "lock":
        return lock()
    print(__doc__)
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
