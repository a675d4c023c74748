"""The count's plan in a vehicle file or station file: how long it is, where it is held, what differs by its point."""

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from groundstation.config.filetable import FileTable, Found, Number
from groundstation.config.quantities import Radians, Seconds, Volts


class PlannedHold(FileTable):
    """A hold that is planned: the count stands still there until the operator resumes it."""

    at_s: Seconds = Field(alias="at", gt=0, description="before T−0")
    text: str = Field(description="what it is for, in words")


class CountPoint(FileTable):
    """What differs from that point of the count on; points nearer T−0 add to those before them."""

    from_s: Seconds = Field(alias="from", gt=0, description="before T−0; from there on, holds included")
    camera: Literal["on", "off", "either"] | None = Field(
        default=None, description="whether it runs for GO, instead of the camera's on_pad"
    )
    planned_hold_s: Seconds | None = Field(
        alias="planned_hold", default=None, gt=0, description="instead of the pad's planned_hold"
    )
    cell_voltage_min_v: Volts | None = Field(
        alias="cell_voltage_min", default=None, gt=0, description="instead of the limit so named"
    )
    packet_loss: Number | None = Field(default=None, gt=0, le=1, description="instead of the limit so named")
    tilt_rad: Radians | None = Field(alias="tilt", default=None, gt=0, description="instead of the limit so named")


class CountPlan(FileTable):
    """The count."""

    start_s: Seconds = Field(alias="start", gt=0, description="what it starts at, before T−0")
    window_s: Seconds = Field(
        alias="window", gt=0, description="from its start, holds included; then it holds and must be set back"
    )
    holds: tuple[PlannedHold, ...] = Field(default=(), description="planned holds")
    points: tuple[CountPoint, ...] = Field(alias="point", default=(), description="what differs from a point on")

    def faults(self) -> Iterator[Found]:
        """A window the count does not fit into, and holds or points outside it or given twice."""
        if self.window_s < self.start_s:
            yield Found(("window",), f"found {self.window_s:g} s, expected at least the count's {self.start_s:g} s")
        for key, places in (
            ("holds", [hold.at_s for hold in self.holds]),
            ("point", [point.from_s for point in self.points]),
        ):
            for k, at_s in enumerate(places):
                word = "at" if key == "holds" else "from"
                if at_s > self.start_s or (key == "holds" and at_s == self.start_s):
                    yield Found((key, k, word), f"found {at_s:g} s, expected less than the start, {self.start_s:g} s")
                elif at_s in places[:k]:
                    yield Found((key, k, word), f"found {at_s:g} s a second time, expected each once")


def plan_of_day(vehicle: CountPlan | None, station: CountPlan | None) -> CountPlan | None:
    """The plan to count by: the station file's, where it has one, else the vehicle file's.

    What differs by a point of the count is the vehicle's own: a station's plan without points keeps those that lie
    within it.
    """
    if station is None or vehicle is None or station.points:
        return vehicle if station is None else station
    points = tuple(point for point in vehicle.points if point.from_s <= station.start_s)
    return station.model_copy(update={"points": points})
