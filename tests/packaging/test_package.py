"""What is handed to strangers is complete: built, installed into an empty environment, and used there."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tarfile
import time
import urllib.error
import urllib.request
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A source archive made from the checkout, and a wheel made from nothing but that archive."""
    folder = tmp_path_factory.mktemp("built")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "sdist", "-d", str(folder)], cwd=ROOT, check=True
    )
    archive = next(folder.glob("*.tar.gz"))
    with tarfile.open(archive) as tar:
        tar.extractall(folder / "unpacked", filter="data")
    source = next((folder / "unpacked").iterdir())
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)], cwd=source, check=True
    )
    return folder


def test_the_wheel_carries_everything_that_the_program_reads(built: Path) -> None:
    with zipfile.ZipFile(next(built.glob("*.whl"))) as wheel:
        carried = set(wheel.namelist())
    tracked = subprocess.run(
        ["git", "ls-files", "src/driveout"], cwd=ROOT, check=True, capture_output=True, text=True
    ).stdout.split("\n")
    wanted = {name.removeprefix("src/") for name in tracked if name and (ROOT / name).exists()}

    assert sorted(wanted - carried) == []
    assert "driveout/guide/docs/method/value.md" in carried
    assert not [name for name in carried if name.startswith(("tests/", "bench/"))]


def test_the_source_archive_carries_tests_licence_and_locks(built: Path) -> None:
    with tarfile.open(next(built.glob("*.tar.gz"))) as tar:
        names = {name.partition("/")[2] for name in tar.getnames()}

    assert {"LICENSE", "README.md", "CHANGELOG.md", "requirements.lock", "dev.py"} <= names
    assert any(name.startswith("tests/published/") for name in names)
    assert not [name for name in names if name.startswith((".venv", "shots/")) or name.endswith(".pyc")]


def install(wheel: Path, folder: Path) -> Path:
    """Make an empty environment, install the locked packages and the wheel; return its scripts folder."""
    scripts = folder / ("Scripts" if os.name == "nt" else "bin")
    python = str(scripts / "python")
    uv = shutil.which("uv")
    if uv:
        subprocess.run([uv, "venv", "-q", "--python", sys.executable, str(folder)], check=True)
        tool = [uv, "pip", "install", "-q", "--python", python]
    else:
        subprocess.run([sys.executable, "-m", "venv", str(folder)], check=True)
        tool = [python, "-m", "pip", "install", "-q", "--disable-pip-version-check"]
    subprocess.run([*tool, "--require-hashes", "-r", str(ROOT / "requirements.lock")], check=True)
    subprocess.run([*tool, "--no-deps", str(wheel)], check=True)
    return scripts


def test_the_wheel_works_in_an_empty_environment(built: Path, tmp_path: Path) -> None:
    scripts = install(next(built.glob("*.whl")), tmp_path / "venv")
    clean = {key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "VIRTUAL_ENV"))}
    clean["DRIVEOUT_HOME"] = str(tmp_path / "home")
    program = str(scripts / "driveout")

    where = subprocess.run(
        [str(scripts / "python"), "-c", "import driveout; print(driveout.__file__)"],
        env=clean,
        cwd=tmp_path,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    assert str(tmp_path) in where
    for words in (["check"], ["demo", "--no-serve"], ["strip", "--help"]):
        subprocess.run([program, *words], env=clean, cwd=tmp_path, check=True, capture_output=True)

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen(
        [program, "demo", "--no-browser", "--port", str(port)],
        env=clean,
        cwd=tmp_path,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        base = f"http://localhost:{port}"
        assert "Tarnwick Linnet" in fetched(f"{base}/", server)
        for path in ("/cars/2/advert", "/cars/2/viewing", "/cars/2/work", "/help/method/value", "/help/map"):
            assert "<h1>" in fetched(base + path, server)
        assert "--ink" in fetched(f"{base}/static/driveout.css", server)
    finally:
        server.terminate()
        server.wait(20)


def fetched(address: str, server: subprocess.Popen[bytes]) -> str:
    """Text of a page, waiting for the server to come up."""
    for _ in range(300):
        assert server.poll() is None, "the server ended"
        try:
            with urllib.request.urlopen(address, timeout=30) as answer:
                return str(answer.read().decode())
        except urllib.error.HTTPError:
            raise
        except OSError:
            time.sleep(0.2)
    raise AssertionError(f"{address} does not answer")
