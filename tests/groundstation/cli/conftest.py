import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """The real command in a process of its own, in a folder of its own."""

    def run_command(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "groundstation.cli", *arguments],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            timeout=120,
            env={**os.environ, "PYTHONWARNINGS": "error", "TZ": "UTC"},
            check=False,
        )

    return run_command
