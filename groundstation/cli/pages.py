"""Serving the pages from a command, and ending everything in order with Ctrl-C."""

import asyncio
import contextlib
import signal
import socket
import webbrowser
from collections.abc import Awaitable, Iterator
from dataclasses import dataclass

from groundstation.cli.failure import LINK, Failure
from groundstation.session import Session


@dataclass(frozen=True, slots=True)
class Serving:
    """Where the pages are served; `opens` opens a browser on them."""

    host: str
    port: int
    trusted_hosts: tuple[str, ...] = ()
    opens: bool = False

    async def pages(self, session: Session) -> None:
        """Serve the pages until cancelled."""
        # The one import of the pages from below them: the command line is the edge that puts the two together, and
        # commands without pages should not wait for them to load.
        from dashboard.app import build_app, serve

        await serve(
            build_app(session),
            host=self.host,
            port=self.port,
            trusted_hosts=self.trusted_hosts,
            on_ready=self._ready,
        )

    def _ready(self, address: str) -> None:
        print(f"The pages are at {address} (Ctrl-C ends the session)", flush=True)
        if self.opens:
            webbrowser.open(address)


def check_free(serving: Serving) -> None:
    """Say so in a sentence when the pages' address cannot be listened at.

    Raises:
        Failure: Another program has the port, or the host is no address of this computer.
    """
    try:
        family, *_, address = socket.getaddrinfo(serving.host, serving.port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
    except OSError as error:
        raise Failure(
            f"cannot serve the pages at {serving.host}:{serving.port} ({error.strerror or error}): "
            "choose another port with --port (0 takes a free one)",
            LINK,
        ) from error


@contextlib.contextmanager
def ended_by_signals(stop: asyncio.Event) -> Iterator[None]:
    """Ctrl-C and a request to terminate set `stop`, so that everything ends in its order."""
    loop = asyncio.get_running_loop()
    before = {}
    for number in (signal.SIGINT, signal.SIGTERM):
        # Not loop.add_signal_handler, which Windows lacks.
        before[number] = signal.signal(number, lambda *_: loop.call_soon_threadsafe(stop.set))
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


async def until_ended(work: Awaitable[None], stop: asyncio.Event) -> None:
    """Run `work` until it ends by itself or a signal ends it."""
    with ended_by_signals(stop):
        tasks = [asyncio.ensure_future(work), asyncio.ensure_future(_waiting(stop))]
        done, pending = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in pending:
            task.cancel()
        await asyncio.gather(*pending, return_exceptions=True)
        for task in done:
            task.result()


async def _waiting(stop: asyncio.Event) -> None:
    await stop.wait()
