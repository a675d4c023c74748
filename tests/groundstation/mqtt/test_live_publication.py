import asyncio
import itertools
import json
import signal
import sys
import time
from pathlib import Path
from typing import Any

import aiomqtt
import pytest
from mqtt_broker import LocalBroker

sys.path.insert(0, str(Path(__file__).parents[1]))

from live_run import Live, assessed, hasty_vehicle, simulator

from groundstation.inputs import NS_PER_S, Chunk
from groundstation.recording import open_recording

pytestmark = pytest.mark.broker


def verdict_for_a_late_subscriber(port: int, *, other_than: str = "", seconds: float = 20.0) -> dict[str, Any]:
    """The first verdict a new subscriber gets; with `other_than`, the first that is not that one."""

    async def ask() -> dict[str, Any]:
        async with asyncio.timeout(seconds):
            async with aiomqtt.Client("127.0.0.1", port, protocol=aiomqtt.ProtocolVersion.V5) as client:
                await client.subscribe("field/verdict", qos=1)
                async for message in client.messages:
                    assert isinstance(message.payload, bytes)
                    said: dict[str, Any] = json.loads(message.payload)
                    if said["value"] != other_than:
                        return said
        raise AssertionError("the broker went")

    return asyncio.run(ask())


def test_broker_killed_and_started_again_disturbs_nothing_and_the_will_says_hold(
    broker: LocalBroker, tmp_path: Path
) -> None:
    vehicle, log = hasty_vehicle(tmp_path), tmp_path / "verdicts.jsonl"
    with simulator(vehicle) as link:
        with Live(vehicle, link, tmp_path, "--mqtt", broker.url, "--verdicts", str(log)) as station:
            station.wait_until_it_says("  GO")
            assert verdict_for_a_late_subscriber(broker.port)["value"] == "GO"
            broker.kill()
            time.sleep(3)
            broker.start()
            assert verdict_for_a_late_subscriber(broker.port)["value"] == "GO"
            station.end(signal.SIGKILL)
        gone = verdict_for_a_late_subscriber(broker.port, other_than="GO")
        assert gone["value"] == "HOLD"
        assert "station is gone" in json.dumps(gone["reasons"])
    logged = [json.loads(line) for line in log.read_text().splitlines()]
    assert [change["verdict"] for change in logged] == ["HOLD", "GO"]
    (recording,) = tmp_path.glob("*.sqlite")
    assert [c["verdict"] for c in assessed(recording)] == ["HOLD", "GO"]  # type: ignore[index]
    times = [i.stamps[0].received_ns for i in open_recording(recording).items() if isinstance(i, Chunk) and i.data]
    assert max(b - a for a, b in itertools.pairwise(times)) < NS_PER_S
