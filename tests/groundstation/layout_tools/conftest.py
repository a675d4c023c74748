import os
import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # for the modules that several tests share

INSTALL_LINE = "no C compiler on this machine: apt-get install gcc"


@pytest.fixture(scope="session")
def gcc() -> str:
    """The compiler; without one the test is skipped, and fails in CI."""
    found = shutil.which("gcc")
    if found is None:
        if os.environ.get("CI") == "true":
            pytest.fail(INSTALL_LINE)
        pytest.skip(INSTALL_LINE)
    return found
