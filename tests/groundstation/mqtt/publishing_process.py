"""A station's worth of publisher in a process of its own, to be killed: publishing_process.py URL."""

import asyncio
import sys
import time

import mqtt_scene

from groundstation.mqtt import Publisher
from groundstation.readiness.finding import Verdict


async def main(url: str) -> None:
    publisher = Publisher(url, "doomed", time.time_ns)
    line = mqtt_scene.timeline(time.time_ns())
    task = asyncio.create_task(publisher.run())
    while True:
        mqtt_scene.assess(line, time.time_ns(), Verdict.GO)
        publisher.offer(line)
        await asyncio.sleep(0.1)
        assert not task.done()


asyncio.run(main(sys.argv[1]))
