import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decoders.stream import Decoded, StreamDecoder
from groundstation.config.load import EXAMPLE_VEHICLE, parse_vehicle
from groundstation.config.station import Site
from groundstation.config.telemetry import layout_of
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.pad import PadPlan
from groundstation.simulator.radio import PERFECT, Radio
from groundstation.simulator.simulate import SimulatedVehicle, TimedFrame
from groundstation.table import FloatArray

ROUGH = Radio(loss=0.1, burst_per_s=0.05, damage=0.05, jitter_s=0.02)


def decode(vehicle: Vehicle, frames: list[TimedFrame]) -> Decoded:
    return StreamDecoder(layout_of(vehicle)).feed(b"".join(frame.data for frame in frames))


def columns(got: Decoded, packet: str) -> dict[str, FloatArray]:
    return next(dict(table.columns) for table in got.tables if table.packet.name == packet)


def test_same_seed_gives_the_same_bytes_at_the_same_times(vehicle: Vehicle, site: Site) -> None:
    def frames() -> list[TimedFrame]:
        simulated = SimulatedVehicle(
            vehicle, site, seed=7, launch_at_s=10.0, radio=ROUGH, faults=["corrupted-frames@40", "gyro-bias@3"]
        )
        return list(simulated.frames(60.0))

    first = frames()
    assert len(first) > 500
    assert frames() == first


def test_iterating_twice_starts_again(vehicle: Vehicle, site: Site) -> None:
    simulated = SimulatedVehicle(vehicle, site, seed=7)
    assert list(itertools.islice(simulated, 50)) == list(itertools.islice(simulated, 50))


def test_another_seed_gives_other_bytes(vehicle: Vehicle, site: Site) -> None:
    one, other = (list(SimulatedVehicle(vehicle, site, seed=s).frames(5.0)) for s in (1, 2))
    assert [f.data for f in one] != [f.data for f in other]


def test_a_fault_leaves_what_came_before_it_untouched(vehicle: Vehicle, site: Site) -> None:
    plain, faulty = (
        list(SimulatedVehicle(vehicle, site, seed=5, faults=faults, radio=ROUGH).frames(20.0))
        for faults in ([], ["accel-stuck@10"])
    )
    assert [f for f in plain if f.t_s < 10.0] == [f for f in faulty if f.t_s < 10.0]
    assert plain != faulty


def test_frames_come_in_order_of_time(vehicle: Vehicle, site: Site) -> None:
    times = [f.t_s for f in SimulatedVehicle(vehicle, site, seed=5, radio=ROUGH).frames(60.0)]
    assert times == sorted(times)


def test_every_packet_comes_at_its_rate(vehicle: Vehicle, site: Site) -> None:
    got = decode(vehicle, list(SimulatedVehicle(vehicle, site, seed=5, radio=PERFECT).frames(60.0)))
    assert {t.packet.name: len(t) for t in got.tables} == {
        p.name: pytest.approx(60.0 * p.rate_hz, abs=1.0) for p in vehicle.telemetry.packets
    }
    assert got.rejects == ()


def test_pad_values_are_what_a_fit_vehicle_shows(vehicle: Vehicle, site: Site) -> None:
    for seed in range(10):
        got = decode(vehicle, list(SimulatedVehicle(vehicle, site, seed=seed, radio=PERFECT).frames(20.0)))
        motion, health, limits = columns(got, "motion"), columns(got, "health"), vehicle.limits
        g = np.sqrt(motion["ax"] ** 2 + motion["ay"] ** 2 + motion["az"] ** 2).mean()
        assert g == pytest.approx(9.8084, abs=limits.gravity_error_mps2 / 2)
        assert max(abs(motion[axis].mean()) for axis in ("gx", "gy", "gz")) < limits.gyro_rest_radps
        assert np.abs(motion["p"] - site.pressure_pa).max() < limits.pressure_error_pa / 2
        assert np.arccos(1 - 2 * (motion["qx"] ** 2 + motion["qy"] ** 2)).max() < limits.tilt_rad
        assert 3.9 < health["vbat"].min() / 3 < health["vbat"].max() / 3 < 4.15
        for channel in vehicle.pyro:
            assert channel.resistance_ohm is not None
            least, greatest = channel.resistance_ohm
            assert least < health[f"r{channel.channel}"].min() <= health[f"r{channel.channel}"].max() < greatest
        assert set(health["pin"]) == {1}
        assert set(health["phase"]) == {0}
        assert math.degrees(float(health["lat"][0])) == pytest.approx(47.5, abs=1e-4)


def test_decoded_flight_follows_the_truth(vehicle: Vehicle, site: Site) -> None:
    simulated = SimulatedVehicle(vehicle, site, seed=3, launch_at_s=5.0, radio=PERFECT)
    truth = simulated.truth
    assert truth is not None
    got = decode(vehicle, list(simulated.frames(truth.times.landed_s + 10.0)))
    motion, health = columns(got, "motion"), columns(got, "health")
    t_s = motion["t"] - 42.0
    # 12 Pa a metre near the ground: the lowest pressure stands for the apogee within bias, noise and drift
    height = (motion["p"][t_s < 4.0].mean() - motion["p"].min()) / 11.6
    assert height == pytest.approx(truth.apogee_m, abs=8.0)
    boost = (t_s > truth.times.liftoff_s + 0.3) & (t_s < truth.times.burnout_s - 0.3)
    assert motion["az"][boost].min() > 20.0
    assert [int(k) for k, _ in itertools.groupby(health["phase"])] == [0, 1, 2, 3, 4]
    seconds = float(health["t"][health["phase"] == 1][0]) - 42.0
    assert seconds == pytest.approx(truth.times.liftoff_s, abs=0.5)
    ejected = health["t"] - 42.0 > truth.times.ejection_s + 0.05
    assert health["r1"][ejected].min() > 600.0
    assert health["fired1"].sum() == pytest.approx(4, abs=1)
    assert health["camera"][health["t"] - 42.0 > 0.0].min() == 1  # on 15 s before ignition, so from the start


def test_measured_gimbal_follows_the_vehicles_signs_and_neutral(vehicle: Vehicle, site: Site) -> None:
    assert vehicle.gimbal is not None
    turned = vehicle.model_copy(
        update={"gimbal": vehicle.gimbal.model_copy(update={"signs": (-1, 1), "neutral_rad": (0.01, -0.02)})}
    )

    def angles(one: Vehicle) -> tuple[FloatArray, FloatArray]:
        simulated = SimulatedVehicle(one, site, seed=4, launch_at_s=1.0, radio=PERFECT)
        motion = columns(decode(one, list(simulated.frames(5.0))), "motion")
        return motion["gim_x"], motion["gim_y"]

    (x, y), (turned_x, turned_y) = angles(vehicle), angles(turned)
    assert np.abs(x).max() > 0.002
    # the noise on both is the same; only what is sent is turned, so mirrored within two of its deviations
    np.testing.assert_allclose(turned_x - 0.01, -x, atol=0.006)
    np.testing.assert_allclose(turned_y + 0.02, y, atol=0.006)


def test_counter_wraps_at_its_fields_width(vehicle: Vehicle, site: Site) -> None:
    # 14 packets a second fill 16 bits in 4681 s
    plan = PadPlan(uptime_s=4675.0)
    got = decode(vehicle, list(SimulatedVehicle(vehicle, site, seed=1, radio=PERFECT, plan=plan).frames(10.0)))
    counts = np.sort(np.concatenate([columns(got, p)["n"].astype(int) for p in ("motion", "health")]))
    assert counts[0] == 0
    assert counts[-1] == 65535
    assert len(set(counts.tolist())) == len(counts)


def test_sensor_axes_follow_the_mounting(site: Site) -> None:
    text = EXAMPLE_VEHICLE.read_text().replace('accel = ["+x", "+y", "+z"]', 'accel = ["+z", "-x", "-y"]')
    turned = parse_vehicle(text, file_name="turned.toml")
    got = decode(turned, list(SimulatedVehicle(turned, site, seed=1, radio=PERFECT).frames(5.0)))
    # body z lies along the sensor's -y
    assert columns(got, "motion")["ay"].mean() == pytest.approx(-9.8, abs=0.2)


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 2**32), launch=st.one_of(st.none(), st.floats(0.0, 20.0)))
def test_every_frame_of_a_perfect_link_decodes(vehicle: Vehicle, site: Site, seed: int, launch: float | None) -> None:
    simulated = SimulatedVehicle(vehicle, site, seed=seed, launch_at_s=launch, radio=PERFECT)
    frames = list(simulated.frames(30.0))
    got = decode(vehicle, frames)
    assert got.rejects == ()
    assert sum(len(table) for table in got.tables) == len(frames)


def test_a_site_that_says_nothing_still_simulates(vehicle: Vehicle) -> None:
    simulated = SimulatedVehicle(vehicle, Site(), seed=1, launch_at_s=1.0, radio=PERFECT)
    got = decode(vehicle, list(simulated.frames(20.0)))
    assert simulated.truth is not None
    assert simulated.truth.apogee_m > 250.0
    assert set(columns(got, "health")["fix"]) == {0}


def test_camera_switches_draw_on_the_pack(vehicle: Vehicle, site: Site) -> None:
    plan = PadPlan(camera_switches=((5.0, True), (10.0, False)))
    got = decode(vehicle, list(SimulatedVehicle(vehicle, site, seed=1, radio=PERFECT, plan=plan).frames(15.0)))
    health = columns(got, "health")
    on = health["camera"] == 1
    assert 18 <= on.sum() <= 21
    step_a = health["ibat"][on].mean() - health["ibat"][~on].mean()
    step_v = health["vbat"][~on].mean() - health["vbat"][on].mean()
    assert step_a > 0.2
    assert step_v / step_a == pytest.approx(vehicle.battery.internal_resistance_ohm, abs=0.02)


def test_moments_carry_the_packs_truth(vehicle: Vehicle, site: Site) -> None:
    moments = list(SimulatedVehicle(vehicle, site, seed=1, plan=PadPlan(charge=0.8)).moments(600.0))
    drawn_c = (0.8 - moments[-1].charge) * vehicle.battery.capacity_c
    current_a = np.mean([m.values["battery_current"] for m in moments])
    assert drawn_c == pytest.approx(current_a * 600.0, abs=1.0)
    assert moments[0].resistance_ohm == pytest.approx(vehicle.battery.internal_resistance_ohm, abs=1e-6)


def test_a_knock_on_the_pad_rings_and_dies_away(vehicle: Vehicle, site: Site) -> None:
    plan = PadPlan(bumps=((5.0, 20.0),))
    moments = list(SimulatedVehicle(vehicle, site, seed=1, plan=plan).moments(10.0))

    def greatest(from_s: float, to_s: float) -> float:
        return max(abs(m.values["accel_x"]) for m in moments if from_s <= m.t_s < to_s)

    assert greatest(0.0, 5.0) < 1.0
    assert greatest(5.0, 5.3) > 5.0
    assert greatest(6.2, 10.0) < 1.0
