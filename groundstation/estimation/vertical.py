"""Height and vertical speed by a Kalman filter over pressure height and upward acceleration.

State x = (h, v, b): height above the pad [m], upward speed [m/s], and the accelerometer's bias in the upward
direction [m/s²]. Between two samples the measured acceleration is taken to run straight from a0 to a1:

    h ← h + v·dt + (2·a0 + a1)/6·dt² - b·dt²/2        F = | 1  dt  -dt²/2 |
    v ← v + (a0 + a1)/2·dt - b·dt                         | 0   1  -dt    |
                                                          | 0   0    1    |
The mean acceleration over the step is wrong by noise of variance s, the bias walks with density q_b, so that
Q = s·(dt²/2, dt)ᵀ(dt²/2, dt) for h and v, and q_b·dt for b. A pressure height measures h, with variance R.

Steps are written out in plain floats: at three states that is ten times faster than matrices.

Source:
    Y. Bar-Shalom, X. R. Li, T. Kirubarajan, Estimation with Applications to Tracking and Navigation (2001),
    chapters 5 and 6 (chapter numbers from memory); checked against filterpy.
"""

import math

# A measurement further than this many standard deviations from the prediction is rejected ...
GATE_SIGMAS = 5.0
# ... unless every one for this long has been: then the filter is what is wrong.
REJECTED_FOR_S = 1.0


class VerticalFilter:
    """The filter. `h`, `v`, `b` and the six distinct parts of the covariance P are open to read."""

    __slots__ = ("_rejected_s", "b", "h", "p_bb", "p_hb", "p_hh", "p_hv", "p_vb", "p_vv", "v")

    def __init__(self, h: float, v: float, b: float, *, h_sigma: float, v_sigma: float, b_sigma: float) -> None:
        self.h, self.v, self.b = h, v, b
        self.p_hh, self.p_hv, self.p_hb = h_sigma * h_sigma, 0.0, 0.0
        self.p_vv, self.p_vb, self.p_bb = v_sigma * v_sigma, 0.0, b_sigma * b_sigma
        self._rejected_s = 0.0

    @property
    def h_sigma(self) -> float:
        """Standard deviation of the height [m]."""
        return math.sqrt(self.p_hh)

    @property
    def v_sigma(self) -> float:
        """Standard deviation of the speed [m/s]."""
        return math.sqrt(self.p_vv)

    def predict(self, dt: float, a0: float, a1: float, *, s: float, q_b: float) -> None:
        """Go on by dt [s] with upward acceleration from a0 to a1 [m/s²].

        Args:
            dt: Time step, not negative.
            a0: Measured upward acceleration at its start.
            a1: And at its end.
            s: Variance of the mean acceleration over the step [m²/s⁴].
            q_b: Density of the bias's walk [m²/s⁵].
        """
        d2 = 0.5 * dt * dt
        b = self.b
        self.h += self.v * dt + (2.0 * a0 + a1) / 3.0 * d2 - b * d2
        self.v += 0.5 * (a0 + a1) * dt - b * dt
        hh, hv, hb, vv, vb, bb = self.p_hh, self.p_hv, self.p_hb, self.p_vv, self.p_vb, self.p_bb
        # F P, its first and second rows
        f_hh, f_hv, f_hb = hh + dt * hv - d2 * hb, hv + dt * vv - d2 * vb, hb + dt * vb - d2 * bb
        f_vv, f_vb = vv - dt * vb, vb - dt * bb
        self.p_hh = f_hh + dt * f_hv - d2 * f_hb + s * d2 * d2
        self.p_hv = f_hv - dt * f_hb + s * d2 * dt
        self.p_hb = f_hb
        self.p_vv = f_vv - dt * f_vb + s * dt * dt
        self.p_vb = f_vb
        self.p_bb = bb + q_b * dt
        self._rejected_s += dt

    def update(self, z: float, r: float) -> bool:
        """Take in a measured height z [m] of variance r [m²]; False where it was rejected as impossible."""
        innovation = z - self.h
        if innovation * innovation > GATE_SIGMAS * GATE_SIGMAS * (self.p_hh + r):
            if self._rejected_s < REJECTED_FOR_S:
                return False
            # What was believed of the height does not hold; neither, then, does the speed that led to it.
            self.p_hh += innovation * innovation
            self.p_vv += (innovation / REJECTED_FOR_S) ** 2
        self._rejected_s = 0.0
        hh, hv, hb = self.p_hh, self.p_hv, self.p_hb
        total = hh + r
        k_h, k_v, k_b = hh / total, hv / total, hb / total
        self.h += k_h * innovation
        self.v += k_v * innovation
        self.b += k_b * innovation
        self.p_hh = k_h * r
        self.p_hv = hv - k_h * hv
        self.p_hb = hb - k_h * hb
        self.p_vv -= k_v * hv
        self.p_vb -= k_v * hb
        self.p_bb -= k_b * hb
        return True
