import itertools
import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest

from decoders.stream import Decoded, StreamDecoder
from groundstation.config.station import Site
from groundstation.config.telemetry import layout_of, sources_of
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.errors import FaultError
from groundstation.simulator.faults import FAULTS, parse
from groundstation.simulator.radio import PERFECT
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.table import FloatArray

AT_S = 5.0


def decoded(vehicle: Vehicle, site: Site, faults: Sequence[str]) -> Decoded:
    simulated = SimulatedVehicle(vehicle, site, seed=11, faults=faults, radio=PERFECT)
    return StreamDecoder(layout_of(vehicle)).feed(b"".join(f.data for f in simulated.frames(10.0)))


class Parted:
    """Measurements before and after the fault began."""

    def __init__(self, vehicle: Vehicle, got: Decoded) -> None:
        self._sources = sources_of(vehicle)
        self._tables = {table.packet.name: table.columns for table in got.tables}

    def of(self, name: str) -> tuple[FloatArray, FloatArray]:
        source = self._sources[name]
        values = np.asarray(self._tables[source.table][source.column], np.float64)
        clock = self._sources[f"{source.table}.t"]
        t_s = self._tables[clock.table][clock.column] - 42.0
        return values[t_s < AT_S - 0.005], values[t_s >= AT_S + 0.005]


Parting = Callable[[str], Parted]


@pytest.fixture(scope="module")
def parted(vehicle: Vehicle, site: Site) -> Parting:
    def make(fault: str) -> Parted:
        return Parted(vehicle, decoded(vehicle, site, [f"{fault}@{AT_S}"]))

    return make


def test_battery_low_takes_the_cells_below_the_limit(vehicle: Vehicle, parted: Parting) -> None:
    before, after = parted("battery-low").of("battery_voltage")
    assert before.min() / 3 > vehicle.limits.cell_voltage_min_v
    np.testing.assert_allclose(after / 3, 3.55, atol=0.01)


@pytest.mark.parametrize("channel", [1, 2])
def test_igniter_open_is_seen_on_its_channel_only(parted: Parting, channel: int) -> None:
    changed = parted(f"igniter-open:{channel}")
    before, after = changed.of(f"pyro_{channel}_resistance")
    assert before.max() < 3.0
    assert after.min() > 600.0
    before, after = changed.of(f"pyro_{3 - channel}_resistance")
    assert max(before.max(), after.max()) < 3.0


def test_pin_reversed_reads_the_pin_as_in(vehicle: Vehicle, parted: Parting) -> None:
    before, after = parted("pin-reversed").of("pull_pin")
    assert vehicle.pull_pin is not None
    assert set(before) == {1 - vehicle.pull_pin.inserted_reads}
    assert set(after) == {vehicle.pull_pin.inserted_reads}


@pytest.mark.parametrize(
    ("fault", "name"),
    [("accel-stuck", f"accel_{axis}") for axis in "xyz"] + [("pressure-stuck", "pressure")],
)
def test_stuck_sensors_repeat_one_value(parted: Parting, fault: str, name: str) -> None:
    before, after = parted(fault).of(name)
    assert len(set(before)) > 10
    assert len(set(after)) == 1
    assert abs(after[0] - before.mean()) < 6 * before.std()


def test_gyro_bias_is_beyond_the_limit_at_once(vehicle: Vehicle, parted: Parting) -> None:
    before, after = parted("gyro-bias").of("gyro_x")
    assert abs(before.mean()) < vehicle.limits.gyro_rest_radps
    assert abs(after.mean()) > 4 * vehicle.limits.gyro_rest_radps


def test_excessive_tilt_shows_in_accelerometer_and_attitude(vehicle: Vehicle, parted: Parting) -> None:
    changed = parted("tilt-excessive")
    x, y, z = (changed.of(f"accel_{axis}")[1].mean() for axis in "xyz")
    assert math.atan2(math.hypot(x, y), z) > 2 * vehicle.limits.tilt_rad
    assert math.hypot(x, y, z) == pytest.approx(9.81, abs=0.2)
    qx, qy = (changed.of(f"attitude_{part}")[1].mean() for part in "xy")
    assert math.acos(1 - 2 * (qx * qx + qy * qy)) > 2 * vehicle.limits.tilt_rad


def test_link_silent_ends_the_frames(vehicle: Vehicle, site: Site) -> None:
    simulated = SimulatedVehicle(vehicle, site, seed=11, faults=[f"link-silent@{AT_S}"], radio=PERFECT)
    times = [frame.t_s for frame in simulated.frames(20.0)]
    assert AT_S - 0.2 < max(times) < AT_S


def test_corrupted_frames_are_rejected_by_the_decoder(vehicle: Vehicle, site: Site) -> None:
    assert decoded(vehicle, site, []).rejects == ()
    got = decoded(vehicle, site, [f"corrupted-frames@{AT_S}"])
    assert len(got.rejects) > 40  # of some 70 frames in 5 s
    clean = sum(len(table) for table in got.tables)
    assert 70 <= clean < 95


# Without a reason to hold on the pad: harmless, or to be seen on the bench alone.
BORNE = ("packets-twice", "gimbal-wrong-way", "circuits-swapped")


def test_every_fault_is_one_function_with_a_check_and_a_time() -> None:
    assert len(FAULTS) >= 45
    assert set(FAULTS) >= FIRST
    for name, fault in FAULTS.items():
        assert fault.name == name
        assert fault.text
        assert fault.checks or name in BORNE
        assert 1.0 <= fault.within_s <= 20.0
        functions = (fault.on_state, fault.on_values, fault.on_frame, fault.on_running)
        assert sum(f is not None for f in functions) == 1


FIRST = {
    "battery-low", "igniter-open", "pin-reversed", "accel-stuck", "gyro-bias", "pressure-stuck", "tilt-excessive",
    "link-silent", "corrupted-frames",
}  # fmt: skip


def test_a_fault_that_ends_leaves_the_measurement_as_it_was(vehicle: Vehicle, site: Site) -> None:
    passing = Parted(vehicle, decoded(vehicle, site, ["battery-low@2-5"]))
    lasting = Parted(vehicle, decoded(vehicle, site, []))
    np.testing.assert_array_equal(passing.of("battery_voltage")[1], lasting.of("battery_voltage")[1])
    assert passing.of("battery_voltage")[0].min() < 11.0 < lasting.of("battery_voltage")[0].min()


def test_brown_out_begins_clock_and_counters_anew_after_a_silence(vehicle: Vehicle, site: Site) -> None:
    simulated = SimulatedVehicle(vehicle, site, seed=11, faults=[f"brown-out@{AT_S}"], radio=PERFECT)
    frames = list(simulated.frames(10.0))
    got = StreamDecoder(layout_of(vehicle)).feed(b"".join(f.data for f in frames))
    columns = {table.packet.name: table.columns for table in got.tables}
    clock_s, numbers = columns["motion"]["t"], columns["motion"]["n"]
    at = int(np.argmin(np.diff(clock_s))) + 1
    assert clock_s[at - 1] == pytest.approx(42.0 + AT_S, abs=0.2)
    assert 0.0 <= clock_s[at] < 0.2
    assert numbers[at] < 3
    assert set(columns["health"]["resets"]) == {1, 2}
    gap_s = max(b.t_s - a.t_s for a, b in itertools.pairwise(frames))
    assert 0.8 <= gap_s < 1.05  # what it takes to start, and up to the next packet


def test_reset_loop_starts_anew_again_and_again(vehicle: Vehicle, site: Site) -> None:
    got = decoded(vehicle, site, ["reset-loop@1"])
    health = next(t.columns for t in got.tables if t.packet.name == "health")
    assert set(health["resets"]) == {1, 2, 3}
    assert health["t"][health["resets"] > 1].max() < 4.0


def test_loose_igniter_drops_out_for_single_packets(parted: Parting) -> None:
    before, after = parted("igniter-loose:2").of("pyro_2_resistance")
    assert before.max() < 3.0
    out = after > 600.0
    assert 3 <= out.sum() <= 5
    assert not np.any(out[1:] & out[:-1])


def test_packets_sent_twice_arrive_twice(vehicle: Vehicle, site: Site) -> None:
    doubled = decoded(vehicle, site, ["packets-twice@0"])
    once = decoded(vehicle, site, [])
    assert [len(t) for t in doubled.tables] == [2 * len(t) for t in once.tables]


def test_two_faults_act_together(vehicle: Vehicle, site: Site) -> None:
    both = Parted(vehicle, decoded(vehicle, site, [f"gyro-bias@{AT_S}", f"battery-low@{AT_S}"]))
    assert both.of("gyro_x")[1].mean() > 0.1
    assert both.of("battery_voltage")[1].max() < 11.0


def test_unknown_fault_names_the_nearest(vehicle: Vehicle) -> None:
    with pytest.raises(FaultError, match="the nearest is battery-low") as caught:
        parse("batery-low@3", vehicle)
    assert caught.value.text == "batery-low@3"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("battery-low", "expected NAME@SECONDS"),
        ("battery-low@-3", "expected NAME@SECONDS"),
        ("battery-low@nan", "expected NAME@SECONDS"),
        ("battery-low@9-3", "ends at 3 s, expected an end after 9 s"),
        ("battery-low@3-3", "ends at 3 s, expected an end after 3 s"),
        ("board-low@3", "for Curlew .*, which does not send board_voltage"),
        ("accel-nan@3", "which does not send accel_x as a floating-point number"),
        ("auxiliary-open:1@3", r"expected a channel with an auxiliary load \(3\)"),
        ("battery-low:1@3", "is about no channel"),
        ("igniter-open:3@3", r"expected a channel with an igniter \(1, 2\)"),
        ("igniter-open:9@3", r"expected a channel with an igniter \(1, 2\)"),
    ],
)
def test_faults_that_cannot_be_are_refused(vehicle: Vehicle, text: str, message: str) -> None:
    with pytest.raises(FaultError, match=message):
        parse(text, vehicle)


def test_igniter_open_means_channel_1_unless_told(vehicle: Vehicle) -> None:
    assert parse("igniter-open@12.5", vehicle).channel == 1
    chosen = parse("igniter-open:2@12.5", vehicle)
    assert (chosen.channel, chosen.at_s) == (2, 12.5)
    passing = parse("auxiliary-open@3-4.5", vehicle)
    assert (passing.channel, passing.at_s, passing.until_s) == (3, 3.0, 4.5)
