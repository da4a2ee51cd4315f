"""A real browser on a real server, at the size of a phone and of a desktop."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1440, "height": 900}


def shot(page: Page, name: str) -> None:
    """Keep a screenshot when DRIVEOUT_SHOTS names a folder."""
    folder = os.environ.get("DRIVEOUT_SHOTS")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=f"{folder}/{name}.png", full_page=True)


def open_page(chromium: Browser, size: dict[str, int], **options: object) -> Page:
    """A page that fails the test on any script error or request to another host."""
    # A part that is just fading in would be judged by a contrast that it has for a tenth of a second.
    context = chromium.new_context(viewport=size, **{"reduced_motion": "reduce", **options})  # type: ignore[arg-type]
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
