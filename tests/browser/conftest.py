"""A real browser on a real server, at the size of a phone and of a desktop."""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

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
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1440, "height": 900}


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


def shot(page: Page, name: str) -> None:
    """Keep a screenshot when DRIVEOUT_SHOTS names a folder."""
    folder = os.environ.get("DRIVEOUT_SHOTS")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=f"{folder}/{name}.png", full_page=True)


def open_page(chromium: Browser, size: dict[str, int], **options: object) -> Page:
    """A page that fails the test on any script error or request to another host."""
    context = chromium.new_context(viewport=size, **options)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(8000)
    return page


@pytest.fixture
def phone(chromium: Browser) -> Iterator[Page]:
    page = open_page(chromium, PHONE)
    yield page
    page.context.close()


@pytest.fixture
def desk(chromium: Browser) -> Iterator[Page]:
    page = open_page(chromium, DESK)
    yield page
    page.context.close()
