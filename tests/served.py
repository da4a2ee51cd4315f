"""The browser and the served record: one of each for whatever drives pages, in every folder of tests."""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from playwright.sync_api import Browser, sync_playwright

from driveout.app import web_app
from driveout.store import Store

# Without these the browser asks hosts of its own at every start.
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    path = os.environ.get("DRIVEOUT_CHROMIUM") or shutil.which("chromium")
    if not path:
        pytest.fail("No Chromium: run the tests with  python3 dev.py test")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def address(store: Store) -> Iterator[str]:
    """A served record; the address to open."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    config = uvicorn.Config(web_app(store), host="127.0.0.1", port=port, log_level="error")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    for _ in range(200):
        if server.started:
            break
        time.sleep(0.02)
    yield f"http://localhost:{port}"
    server.should_exit = True
    thread.join(5)
