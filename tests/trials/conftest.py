"""The browser and the served record of the browser tests."""

from tests.browser.conftest import address, chromium  # noqa: F401
