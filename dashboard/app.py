"""The pages' server: a Dash app around one session, and its run inside the caller's event loop.

The page draws itself in a loop that it drives: the store `ready` asks, an answer comes into the store `frame`, a
script draws it and asks again. A page that is closed or stalled therefore costs nothing, and each goes at its own
pace. Callbacks are registered on the app object: those registered elsewhere are lost to a page that stays open while
the station restarts.
"""

import asyncio
import contextlib
import time
from collections.abc import Callable, Sequence
from datetime import datetime, tzinfo
from importlib.resources import files
from pathlib import Path

import dash
import plotly
import uvicorn
from dash import ClientsideFunction, Input, Output, State
from fastapi import FastAPI, Request, Response
from fastapi.responses import FileResponse, JSONResponse
from starlette.middleware.trustedhost import TrustedHostMiddleware

from dashboard import acts
from dashboard.ask import read_ask
from dashboard.layout import page_layout
from dashboard.stream import Stream
from groundstation.session import Session

LOOPBACK_NAMES = ("localhost", "127.0.0.1", "[::1]")
PLOTLY_ADDRESS = f"/plotly-{plotly.__version__}.min.js"
CLOSING_S = 1.0  # open pages are given this long when the station ends


def build_app(session: Session) -> dash.Dash:
    """The app that shows `session`. Nothing runs until `serve`."""
    zone = datetime.now().astimezone().tzinfo
    stream = Stream(session, clock_ns=time.time_ns, zone=zone)
    app = dash.Dash(
        "dashboard",
        backend="fastapi",
        assets_folder=str(Path(__file__).parent / "assets"),
        external_scripts=[{"src": PLOTLY_ADDRESS, "defer": "defer"}],
        serve_locally=True,
        title=session.timeline.vehicle.name,
        update_title="",
        websocket_callbacks=True,
        websocket_inactivity_timeout=0,
        websocket_batch_delay=0,
        meta_tags=[{"name": "color-scheme", "content": "light dark"}],
    )
    app.layout = page_layout(session)

    async def answer(data: object) -> dict[str, object]:
        return await stream.next(read_ask(data))

    async def answer_at_once(_beat: int, data: object) -> dict[str, object]:
        return stream.at_once(read_ask(data))

    app.callback(Output("frame", "data"), Input("ready", "data"))(answer)
    app.callback(
        Output("frame", "data", allow_duplicate=True),
        Input("poll", "n_intervals"),
        State("wish", "data"),
        prevent_initial_call=True,
    )(answer_at_once)
    app.clientside_callback(
        ClientsideFunction(namespace="page", function_name="draw"),
        Output("drawn", "data"),
        Input("frame", "data"),
        State("fixed", "data"),
        prevent_initial_call=True,
    )
    _add_addresses(app.server, stream, zone)
    _add_policy(app)
    return app


async def serve(
    app: dash.Dash, *, host: str, port: int, trusted_hosts: Sequence[str] = (), on_ready: Callable[[str], None]
) -> None:
    """Serve the pages until cancelled, in the running event loop.

    Args:
        app: From `build_app`.
        host: Address to listen at.
        port: Port to listen at; 0 takes a free one.
        trusted_hosts: Names besides the loopback ones under which browsers may reach the pages. A request under any
            other name is refused, which is what keeps a web page elsewhere from reading this one.
        on_ready: Called once with the pages' address.
    Raises:
        OSError: The address cannot be listened at.
    """
    names = {*LOOPBACK_NAMES, "::1", *trusted_hosts}
    if host not in ("", "0.0.0.0", "::"):
        names.add(host)
    app.server.add_middleware(TrustedHostMiddleware, allowed_hosts=sorted(names), www_redirect=False)
    config = uvicorn.Config(
        app.server,
        host=host,
        port=port,
        log_level="warning",
        access_log=False,
        lifespan="on",
        timeout_graceful_shutdown=round(CLOSING_S),
        ws_max_size=1 << 20,
    )
    listener = config.bind_socket()
    shown = f"[{host}]" if ":" in host else host
    address = f"http://{shown}:{listener.getsockname()[1]}/"
    server = _QuietServer(config)
    running = asyncio.ensure_future(server.serve(sockets=[listener]))
    try:
        while not server.started and not running.done():
            await asyncio.sleep(0.01)
        if server.started:
            on_ready(address)
        await asyncio.shield(running)
    finally:
        server.should_exit = True
        with contextlib.suppress(asyncio.CancelledError):
            await running
        listener.close()


class _QuietServer(uvicorn.Server):
    """Leaves signals to the caller, who owns the loop."""

    @contextlib.contextmanager
    def capture_signals(self):  # type: ignore[no-untyped-def]
        yield


def _add_addresses(server: FastAPI, stream: Stream, zone: tzinfo | None) -> None:
    script = Path(str(files("plotly") / "package_data" / "plotly.min.js"))

    async def health() -> JSONResponse:
        words = {"session": stream.session_id, "live": stream.session.live, "title": stream.session.title}
        return JSONResponse(words, headers={"Cache-Control": "no-store"})

    async def plotting_script() -> FileResponse:
        year = {"Cache-Control": "public, max-age=31536000, immutable"}  # its version is in its address
        return FileResponse(script, media_type="text/javascript", headers=year)

    async def act(request: Request) -> JSONResponse:
        return await acts.answer(request, stream.session, zone)

    server.add_api_route("/operator", act, methods=["POST"], include_in_schema=False)
    server.add_api_route("/health", health, methods=["GET"], include_in_schema=False)
    server.add_api_route(PLOTLY_ADDRESS, plotting_script, methods=["GET"], include_in_schema=False)


def _add_policy(app: dash.Dash) -> None:
    """Scripts from here only, besides Dash's own inline ones by their hashes; nothing is loaded from elsewhere."""
    policy = "; ".join(
        [
            "default-src 'self'",
            f"script-src 'self' {' '.join(app.csp_hashes())}",
            "style-src 'self' 'unsafe-inline'",  # plots and Dash set styles on elements
            "img-src 'self' data: blob:",
            "connect-src 'self' ws: wss:",
            "object-src 'none'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        ]
    )

    async def with_policy(request: Request, call_next: Callable[[Request], "asyncio.Future[Response]"]) -> Response:
        response = await call_next(request)
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        return response

    app.server.middleware("http")(with_policy)
