import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # for mqtt_scene, which a process of its own imports too

from mqtt_broker import LocalBroker, need_mosquitto


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[LocalBroker]:
    need_mosquitto()
    local = LocalBroker(tmp_path)
    local.start()
    yield local
    local.kill()


@pytest.fixture
def guarded_broker(tmp_path: Path) -> Iterator[LocalBroker]:
    """Takes the user "pad" with the password "secret" alone."""
    need_mosquitto()
    passwords = tmp_path / "passwords"
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(passwords), "pad", "secret"], check=True, capture_output=True)
    passwords.chmod(0o644)  # the broker gives up root before it reads the file
    tmp_path.chmod(0o755)
    local = LocalBroker(tmp_path, extra=f"allow_anonymous false\npassword_file {passwords}\nuser root\n")
    local.start()
    yield local
    local.kill()
