import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

# Tests are imported one by one, without packages: what several of them share is found by its folder.
sys.path += [str(Path(__file__).parent), str(Path(__file__).parents[1] / "dashboard")]

from browsing import chromium
from playwright.sync_api import Browser


@pytest.fixture  # one a test: while Playwright runs, no other event loop can run in its thread
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started
