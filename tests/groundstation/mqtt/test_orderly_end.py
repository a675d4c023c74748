import asyncio
import json
import signal
import subprocess
import sys
from pathlib import Path

import aiomqtt
import pytest
from mqtt_broker import LocalBroker

pytestmark = pytest.mark.broker


async def said(broker: LocalBroker, topic: str, value: str, text: str = "") -> dict[str, object]:
    """The first message on a topic with that value, and that text somewhere in it."""
    async with aiomqtt.Client("127.0.0.1", broker.port, protocol=aiomqtt.ProtocolVersion.V5) as client:
        await client.subscribe(topic, qos=1)
        async for message in client.messages:
            assert isinstance(message.payload, bytes)
            body: dict[str, object] = json.loads(message.payload)
            if (not value or body["value"] == value) and text in message.payload.decode():
                return body
    raise AssertionError("the broker went")


def test_ctrl_c_leaves_a_hold_that_says_the_station_has_ended(broker: LocalBroker, tmp_path: Path) -> None:
    async def work() -> None:
        async with asyncio.timeout(60):
            await said(broker, "field/verdict", "HOLD", "settling")
            demo.send_signal(signal.SIGINT)
            assert await asyncio.to_thread(demo.wait) == 0
            await said(broker, "field/verdict", "HOLD", "the station has ended")

    line = [sys.executable, "-m", "groundstation.cli", "demo", "--port", "0", "--record", ".", "--mqtt", broker.url]
    with subprocess.Popen(line, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as demo:
        try:
            asyncio.run(work())
        finally:
            demo.kill()
        assert demo.stderr is not None
        assert demo.stderr.read() == ""
