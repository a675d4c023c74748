"""What a vehicle file calls some of a field's raw numbers: "2" is "boost"."""

import math
from dataclasses import dataclass

_SAME_RAW = 1e-6  # of a whole raw number, for what scaling has rounded


@dataclass(frozen=True, slots=True)
class Labels:
    """The labels of a column's raw numbers, and how a value comes of its raw number: raw * scale + bias."""

    names: tuple[tuple[int, str], ...] = ()
    scale: float = 1.0
    bias: float = 0.0

    def of(self, value: float) -> str | None:
        """What a value is called; None where it is not just one of the raw numbers that have a label."""
        if not self.names or not math.isfinite(value):
            return None
        raw = (value - self.bias) / self.scale
        return dict(self.names).get(round(raw)) if abs(raw - round(raw)) < _SAME_RAW else None


NO_LABELS = Labels()
