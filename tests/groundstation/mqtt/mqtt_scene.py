"""A small timeline of the tests' own, for the tests in this folder and the process they kill."""

import tomllib
from importlib.resources import files

import numpy as np

from groundstation.config.station import Site
from groundstation.config.vehicle import Place, Vehicle
from groundstation.inputs import EventKind, StationEvent
from groundstation.readiness.finding import Assessment, Finding, Limit, Status, Verdict
from groundstation.timeline import Source, Timeline


def vehicle() -> Vehicle:
    return Vehicle.model_validate(tomllib.loads((files("groundstation.config") / "curlew.toml").read_text()))


def timeline(started_ns: int) -> Timeline:
    sources = {
        "battery_voltage": Source("health", "vbat", "V", 6.0, 13.0),
        "health.odd/name": Source("health", "odd/name", "1", -np.inf, np.inf),
    }
    return Timeline(
        vehicle(), Site(), started_ns=started_ns, packets={"health": ("vbat", "odd/name")}, sources=sources
    )


def receive(line: Timeline, at_ns: int, volts: float, odd: float = 0.0) -> None:
    line.packets["health"].append(np.array([at_ns], np.int64), np.array([[volts], [odd]]))
    line.now_ns = at_ns


def assess(line: Timeline, at_ns: int, verdict: Verdict) -> None:
    low = Finding(
        "battery", Status.FAIL, "3.61 V per cell, at least 3.75 V", Place.BATTERY, None, 3.61, "V", Limit(3.75)
    )
    reasons = () if verdict is Verdict.GO else (low,)
    line.append_assessment(Assessment(at_ns, verdict, reasons, reasons, at_ns))
    line.now_ns = at_ns


def note(line: Timeline, at_ns: int, text: str) -> None:
    line.station_events.append(StationEvent(at_ns, EventKind.LINK, True, text, "pad"))
    line.now_ns = at_ns
