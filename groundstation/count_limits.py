"""The vehicle file as it holds at a point of the count: its limits with what differs from that point on."""

from groundstation.config.count_plan import CountPlan
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S

_LIMITS = ("cell_voltage_min_v", "packet_loss", "tilt_rad")


class PointLimits:
    """The vehicle at each point of its count; outside the count it is the vehicle file as it stands.

    A point that asks for the camera in a vehicle without one changes nothing.

    Args:
        vehicle: The vehicle file.
        plan: The count's plan; None where no count is kept.
    """

    def __init__(self, vehicle: Vehicle, plan: CountPlan | None) -> None:
        self._vehicle = vehicle
        self._from: list[tuple[int, Vehicle]] = []
        points = () if plan is None else plan.points
        for point in sorted(points, key=lambda p: -p.from_s):
            changed = {n: value for n in _LIMITS if (value := getattr(point, n)) is not None}
            limits = vehicle.limits.model_copy(update=changed)
            camera, pad = vehicle.camera, vehicle.pad
            if camera is not None and point.camera is not None:
                camera = camera.model_copy(update={"on_pad": point.camera})
            if point.planned_hold_s is not None:
                pad = pad.model_copy(update={"planned_hold_s": point.planned_hold_s})
            vehicle = vehicle.model_copy(update={"limits": limits, "camera": camera, "pad": pad})
            self._from.append((round(point.from_s * NS_PER_S), vehicle))

    def vehicle(self, to_go_ns: int | None) -> Vehicle:
        """The vehicle with so much to go; None before the count has been started."""
        if to_go_ns is None:
            return self._vehicle
        reached = [vehicle for from_ns, vehicle in self._from if to_go_ns <= from_ns]
        return reached[-1] if reached else self._vehicle
