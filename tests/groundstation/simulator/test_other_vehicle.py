"""The simulator reads everything from the vehicle file: a vehicle quite unlike the example, of our own invention."""

import numpy as np
import pytest

from decoders.stream import StreamDecoder
from groundstation.config.load import parse_vehicle
from groundstation.config.station import Site
from groundstation.config.telemetry import layout_of
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.errors import FaultError
from groundstation.simulator.faults import FAULTS, parse, refusal
from groundstation.simulator.radio import PERFECT
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.table import FloatArray

GODWIT = """
name = "Godwit (invented)"
[airframe]
length = "0.62 m"
diameter = "41 mm"
liftoff_mass = "240 g"
drag_coefficient = 0.6
pitch_inertia = "0.007 kg m^2"
centre_of_mass = "330 mm"
centre_of_pressure = "400 mm"
[battery]
chemistry = "lithium polymer"
cells = 1
capacity = "300 mAh"
internal_resistance = "90 mohm"
[[pyro]]
channel = 4
purpose = "parachute"
load = "igniter"
sense = ["1.1 V", "1.9 V"]
[motor]
propellant_mass = "11 g"
average_thrust = "9 N"
burn_time = "1.9 s"
[recovery]
parachute_area = "0.1 m^2"
drag_coefficient = 0.9
[telemetry]
framing = "cobs"
checksum = "CRC-16/IBM-3740"
byte_order = "big"
checksum_order = "big"
id_type = "none"
[[telemetry.packet]]
name = "all"
id = 0
rate_hz = 20
fields = [
  { name = "count", type = "u8", meaning = "sequence" },
  { name = "clock", type = "u16", unit = "ms", meaning = "vehicle_time" },
  { name = "axial", type = "f32", unit = "g_0", meaning = "accel_z" },
  { name = "baro", type = "f64", unit = "hPa", meaning = "pressure" },
  { name = "cell", type = "u8", unit = "V", scale = 0.02, meaning = "battery_voltage" },
  { name = "charge", type = "u16", unit = "mV", meaning = "pyro_4_sense" },
  { name = "closed", type = "bool", meaning = "pyro_4_continuity" },
  { name = "rssi", type = "i8", unit = "dBm", meaning = "rssi" },
  { name = "spare", type = "u16" },
]
"""


def parse_godwit() -> Vehicle:
    return parse_vehicle(GODWIT, file_name="godwit.toml")


@pytest.fixture(scope="module")
def godwit() -> Vehicle:
    return parse_godwit()


def columns(vehicle: Vehicle, simulated: SimulatedVehicle, seconds: float) -> dict[str, FloatArray]:
    got = StreamDecoder(layout_of(vehicle)).feed(b"".join(f.data for f in simulated.frames(seconds)))
    assert got.rejects == ()
    return dict(got.tables[0].columns)


def test_another_vehicle_flies_and_lands(godwit: Vehicle, site: Site) -> None:
    simulated = SimulatedVehicle(godwit, site, seed=2, launch_at_s=3.0, radio=PERFECT)
    truth = simulated.truth
    assert truth is not None
    assert 80.0 < truth.apogee_m < 400.0
    assert truth.impulse_ns == pytest.approx(9 * 1.9, rel=0.1)
    got = columns(godwit, simulated, truth.times.landed_s + 3.0)
    height_m = (got["baro"][:40].mean() - got["baro"].min()) / 11.8
    assert height_m == pytest.approx(truth.apogee_m, abs=8.0)
    assert got["axial"][:40].mean() == pytest.approx(9.8, abs=0.2)
    assert got["axial"].max() > 25.0
    assert 3.9 < got["cell"][0] < 4.2
    assert got["closed"][0] == 1
    assert got["closed"][-1] == 0
    assert 1.1 < got["charge"][0] < 1.9
    assert got["charge"][-1] == 0.0
    assert set(got["spare"]) == {0}
    assert -110 < got["rssi"].min() < got["rssi"].max() < -50
    steps = np.diff(got["count"].astype(int)) % 256
    assert set(steps) == {1}


IMPOSSIBLE = sorted(name for name, fault in FAULTS.items() if refusal(fault, parse_godwit(), 4))
POSSIBLE = sorted(set(FAULTS) - set(IMPOSSIBLE))


@pytest.mark.parametrize("name", POSSIBLE)
def test_every_fault_that_the_vehicle_can_have_runs(godwit: Vehicle, site: Site, name: str) -> None:
    channel = ":4" if FAULTS[name].takes_channel else ""
    with_fault = SimulatedVehicle(godwit, site, seed=2, faults=[f"{name}{channel}@2"], radio=PERFECT)
    frames = [f.data for f in with_fault.frames(4.0)]
    without = [f.data for f in SimulatedVehicle(godwit, site, seed=2, radio=PERFECT).frames(4.0)]
    assert frames[:40] == without[:40]
    assert frames != without or name in ("battery-old", "accel-quiet")


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_fault_that_the_vehicle_cannot_have_is_refused_with_the_reason(godwit: Vehicle, name: str) -> None:
    with pytest.raises(FaultError, match=r"for Godwit \(invented\), wh(ich|ose) ") as caught:
        parse(f"{name}@2", godwit)
    assert caught.value.text == f"{name}@2"


def test_a_circuit_s_fault_is_the_first_fitting_channel_s_unless_told(godwit: Vehicle) -> None:
    assert parse("igniter-open@2", godwit).channel == 4


def test_a_plain_vehicle_can_have_some_faults_and_not_others() -> None:
    assert {"battery-low", "igniter-open", "pressure-stuck", "link-silent", "brown-out"} <= set(POSSIBLE)
    assert {"gyro-bias", "pin-reversed", "camera-on", "gimbal-slack", "accel-swapped"} - set(IMPOSSIBLE) == {
        "accel-swapped"
    }


def test_saturated_open_circuit_reads_as_no_sense_voltage(godwit: Vehicle, site: Site) -> None:
    got = columns(godwit, SimulatedVehicle(godwit, site, seed=2, faults=["igniter-open:4@1"], radio=PERFECT), 2.0)
    assert set(got["closed"][21:]) == {0}
    assert set(got["charge"][21:]) == {0.0}
