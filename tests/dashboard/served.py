"""The pages of a staged session, served from a thread of their own."""

import asyncio
import threading
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager, suppress
from typing import Any

from dashboard.app import build_app, serve
from groundstation.session import Session

READY_S = 30.0


@contextmanager
def served(
    session: Session, *, alongside: Callable[[], Coroutine[Any, Any, None]] | None = None, port: int = 0
) -> Iterator[str]:
    """The address of the pages; `alongside` runs in the same event loop, as a station's work does."""
    ready = threading.Event()
    box: dict[str, Any] = {}

    async def main() -> None:
        box["loop"] = asyncio.get_running_loop()
        box["stop"] = asyncio.Event()

        def on_ready(address: str) -> None:
            box["address"] = address
            ready.set()

        work = [asyncio.ensure_future(serve(build_app(session), host="127.0.0.1", port=port, on_ready=on_ready))]
        if alongside is not None:
            work.append(asyncio.ensure_future(alongside()))
        stopping = asyncio.ensure_future(box["stop"].wait())
        await asyncio.wait([*work, stopping], return_when=asyncio.FIRST_COMPLETED)
        for task in work:
            if task.done():
                box["error"] = task.exception()
            task.cancel()
        for task in work:
            with suppress(asyncio.CancelledError, Exception):
                await task
        ready.set()

    thread = threading.Thread(target=asyncio.run, args=(main(),), daemon=True)
    thread.start()
    try:
        if not ready.wait(READY_S) or "address" not in box:
            raise RuntimeError(f"the pages did not start: {box.get('error')!r}")
        yield box["address"]
    finally:
        if "stop" in box:
            box["loop"].call_soon_threadsafe(box["stop"].set)
        thread.join(10)
