import math
import re
from dataclasses import replace

import pytest

from groundstation.bench.proof import ProofOutcome
from groundstation.bench.register import TESTS
from groundstation.bench.register import tests_for as offered_to
from groundstation.bench.walk import Said, guide
from groundstation.config.bench_plan import ProofName
from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, parse_vehicle
from groundstation.simulator.battery import Pack
from groundstation.simulator.rotation import from_rotation_vector, product, to_local
from groundstation.simulator.simulate import SimulatedVehicle

from .conftest import BENCH, REDSHANK

PASSED, FAILED, CANNOT_TELL = ProofOutcome.PASSED, ProofOutcome.FAILED, ProofOutcome.CANNOT_TELL
SIGN, SWEEP, CIRCUIT = ProofName.GIMBAL_SIGN, ProofName.GIMBAL_SWEEP, ProofName.IGNITER_CIRCUIT
PIN, WALK = ProofName.PIN_ORDER, ProofName.RANGE_WALK
OFF, ON = ProofName.ENDURANCE_CAMERA_OFF, ProofName.ENDURANCE_CAMERA_ON
STEP_S = {SIGN: 9.0, PIN: 8.0, OFF: 24.0, ON: 24.0, WALK: 14.0}
NOMINAL = [("redshank", name) for name in ProofName] + [("curlew", name) for name in ProofName if name != WALK]


def made(bench, name, vehicle="redshank", **how):
    return bench(name, vehicle, **({"step_s": STEP_S.get(name, 12.0)} | how)).proof()


@pytest.mark.parametrize(("vehicle", "name"), NOMINAL)
def test_nominal_vehicle_passes_with_figures_and_reasons(bench, vehicle, name) -> None:
    proof = made(bench, name, vehicle)
    assert (proof.outcome, proof.look_first) == (PASSED, ""), proof.reasons
    assert proof.name is name
    assert proof.reasons
    assert proof.figures


def test_tests_offered_are_those_the_vehicle_has_parts_for(vehicles) -> None:
    assert [test.name for test in offered_to(vehicles["redshank"])] == list(ProofName)
    assert [test.name for test in offered_to(vehicles["curlew"])] == [n for n in ProofName if n is not WALK]


# proof, vehicle, faults, what the reasons must say, what is to be touched first
FAULTY = [
    (
        SIGN,
        "redshank",
        ["gimbal-wrong-way@0"],
        "outer axis adds to a lean: −0.40 times",
        "outer axis' servo direction",
    ),
    (SIGN, "curlew", ["gimbal-wrong-way@0"], "outer axis adds to a lean: −0.40 times", "outer axis' servo direction"),
    (SWEEP, "redshank", ["gimbal-off-centre@0"], "outer axis stands 2.00 deg off neutral", "neutral setting"),
    (SWEEP, "redshank", ["gimbal-slack@0"], "inner axis strays by 1.", "ball joint"),
    (SWEEP, "redshank", ["gimbal-sticks@0"], "outer axis is 3.50 deg from a standing command", "servo, its plug"),
    (SWEEP, "curlew", ["gimbal-reversed@12"], "outer axis moves by 0.33", "its horn and linkage"),
    (CIRCUIT, "redshank", ["igniter-open@0"], "Channel 1 reads open (above 655 ohm) with the dummy in", "crimps"),
    (CIRCUIT, "curlew", ["igniter-open:2@0"], "Channel 2 reads open (above 655 ohm) with the dummy in", "crimps"),
    (CIRCUIT, "redshank", ["igniter-short@0"], "a short with nothing in its connector", "closes the circuit"),
    (CIRCUIT, "redshank", ["igniter-odd@0"], "Channel 1 reads 3.90 ohm with nothing in", "closes the circuit"),
    (CIRCUIT, "redshank", ["igniter-odd@14"], "3.90 ohm with the dummy in, 0.9 to 2.6 ohm allowed", "dummy itself"),
    (CIRCUIT, "redshank", ["igniter-loose:2@0"], "Channel 2 is intermittent: it dropped out in", "a joint is loose"),
    (CIRCUIT, "redshank", ["pyro-energised@20"], "Channel 1 was switched on in the step 'dummy in 1'", "stay clear"),
    (CIRCUIT, "redshank", ["circuits-swapped@0"], "dummy in channel 1 shows on channel 2", "they are swapped"),
    (PIN, "redshank", ["pin-reversed@0"], "contact reads out with the pin in", "wired the wrong way round"),
    (PIN, "curlew", ["pin-reversed@0"], "contact reads in with the pin out", "wired the wrong way round"),
    (PIN, "redshank", ["pin-in@0"], "contact reads in wherever the pin is", "the contact hangs"),
    (PIN, "redshank", ["pin-chatters@0"], "contact chatters", "one is loose"),
    (PIN, "redshank", ["pyro-supply-dead@0"], "pyro supply stays dead with the pin out", "pyro switch"),
    (PIN, "curlew", ["pyro-supply-weak@0"], "pyro supply is weak with the pin out", "poor contact"),
    (OFF, "redshank", ["brown-out@10"], "started anew once in the run", "the supply browned out"),
    (OFF, "curlew", ["reset-loop@10"], "started anew 4 times in the run", "the supply browned out"),
    (OFF, "redshank", ["battery-low@0"], "The pack lasts 0 to 0 min", "was it charged"),
    (OFF, "curlew", ["battery-drained@0"], "at 2.69 A, at least 20 min allowed", "what draws that current"),
    (ON, "redshank", ["camera-dead@0"], "The camera draws 0.00 A", "switched but not running"),
    (ON, "curlew", ["camera-draws@0"], "The camera draws 1.09 A", "shorted"),
    (WALK, "redshank", ["link-lossy@0"], "of the packets are lost at 50 m", "both antennas"),
    (WALK, "redshank", ["link-silent@45"], "No packet came at 400 m", "both antennas"),
    (WALK, "redshank", ["signal-weak@0"], "−13 dB would be left by its strength", "both antennas"),
]


@pytest.mark.parametrize(
    ("name", "vehicle", "faults", "says", "look"), FAULTY, ids=[f"{f[0]}-{f[1]}-{f[2][0]}" for f in FAULTY]
)
def test_fault_fails_its_proof_and_says_what_to_touch(bench, name, vehicle, faults, says, look) -> None:
    proof = made(bench, name, vehicle, faults=faults)
    assert proof.outcome is FAILED, proof.reasons
    assert any(says in reason for reason in proof.reasons), proof.reasons
    assert look in proof.look_first, proof.look_first


UNTOLD = [
    (SIGN, {"idle": True}, "leant about its outer axis by 0."),
    (SIGN, {"faults": ["attitude-frozen@0"]}, "at least 5 deg asked for"),
    (SWEEP, {"idle": True}, "was commanded no farther than 0 %"),
    (OFF, {"faults": ["camera-on@0"]}, "The camera was not off all the while."),
    (ON, {"idle": False, "faults": ["camera-off@0"]}, "The camera was not on all the while."),
    (OFF, {"faults": ["link-silent@10-36"], "step_s": 40.0}, "No packet came for 26 s of the run"),
    (OFF, {"faults": ["battery-cells@0"]}, "The pack's voltage is outside its valid range."),
    (OFF, {"step_s": 15.0}, "The run lasted 0.2 min, at least 0.3 min allowed."),
    (WALK, {"said": ((0, "10"), (1, "20"), (2, "30"), (3, "40"))}, "The walk went to 40 m, 400 m asked for."),
    (WALK, {"idle": True}, "The strength fell with distance to the power of 0.0"),
]


@pytest.mark.parametrize(("name", "how", "says"), UNTOLD, ids=[f"{u[0]}-{k}" for k, u in enumerate(UNTOLD)])
def test_what_was_not_done_cannot_be_told(bench, name, how, says) -> None:
    proof = made(bench, name, **how)
    assert proof.outcome is CANNOT_TELL, proof.reasons
    assert any(says in reason for reason in proof.reasons), proof.reasons


@pytest.mark.parametrize("name", list(ProofName))
def test_silence_from_the_beginning_never_passes(bench, name) -> None:
    proof = made(bench, name, faults=["link-silent@0"])
    assert proof.outcome in (CANNOT_TELL, FAILED)
    assert (proof.outcome is FAILED) == (name is WALK)


def test_what_the_eye_sees_counts(bench) -> None:
    proof = made(bench, SIGN, said=((2, "wrong"),))
    assert proof.outcome is FAILED
    assert proof.reasons == ("By eye the nozzle swings to the side that the nose leans to, about the inner axis.",)


def test_gimbal_that_turns_against_its_command_is_told_from_one_that_sticks(bench) -> None:
    proof = made(bench, SWEEP, idle=True, faults=["gimbal-reversed@0"])
    assert proof.outcome is FAILED
    assert "The outer axis moves by −1.00 times its command, 0.8 to 1.2 allowed." in proof.reasons
    assert "sign of the outer axis' angle sensor" in proof.look_first


def test_pack_of_more_cells_than_the_file_says_is_no_endurance(bench) -> None:
    text = re.sub(r"valid = \[[0-9, ]+\], (meaning = .battery_voltage.)", r"\1", REDSHANK.read_text(encoding="utf-8"))
    wide = parse_vehicle(text + BENCH, file_name="wide.toml")
    proof = replace(bench(OFF, step_s=24.0, faults=["battery-cells@0"]), vehicle=wide).proof()
    assert proof.outcome is FAILED
    assert "V per cell, at most 4.25 V allowed." in proof.reasons[0]
    assert "number of cells" in proof.look_first


def test_pin_put_in_and_pulled_by_nobody_reads_one_thing(bench) -> None:
    proof = made(bench, PIN, idle=True)
    assert proof.outcome is FAILED
    assert "The pin's contact reads out wherever the pin is." in proof.reasons
    assert "The pyro supply is live with the pin in: stay clear." in proof.reasons


def test_circuits_that_are_closed_though_nothing_is_in_fail(bench) -> None:
    proof = made(bench, CIRCUIT, idle=True)
    assert proof.outcome is FAILED
    assert all("with nothing in its connector, open expected" in reason for reason in proof.reasons)


def test_nothing_is_ever_called_safe(bench) -> None:
    said = []
    for name, test in TESTS.items():
        said += [test.shows, *test.cautions]
        said += [step.instruction for step in test.steps(bench(name).vehicle)]
        said += [*made(bench, name).reasons]
    assert not any("safe" in text.lower() for text in said)


@pytest.mark.parametrize("name", list(ProofName))
def test_each_step_is_guided_in_order_and_says_what_it_sees(bench, name) -> None:
    walk = bench(name, step_s=STEP_S.get(name, 12.0))
    timeline, marks, test = walk.timeline(), walk.marks(), TESTS[name]
    steps = test.steps(walk.vehicle)
    for done in range(len(steps)):
        now_ns = marks[done + 1].at_ns
        told = guide(test, timeline, marks[: done + 1], now_ns)
        assert (told.step, told.number, told.of) == (steps[done], done + 1, len(steps))
        assert told.seen
        assert told.left_s == 0.0
        early = guide(test, timeline, marks[: done + 1], marks[done].at_ns + 1_000_000_000)
        assert early.left_s == pytest.approx(max(0.0, steps[done].least_s - 1.0), abs=1e-6)
        assert not early.enough


def test_marks_that_are_no_walk_through_the_test_are_refused(bench) -> None:
    walk = bench(SIGN)
    timeline, marks = walk.timeline(), walk.marks()
    for wrong in ([], marks[1:], [*marks, marks[-1]], bench(PIN).marks()[:1]):
        with pytest.raises(ValueError, match="marks"):
            guide(TESTS[SIGN], timeline, wrong, marks[-1].at_ns)
    assert marks[0].said is Said.BEGIN


def other_file(path, *changes):
    """A vehicle file that says something else of the same bytes."""
    text = path.read_text(encoding="utf-8") + BENCH
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    return parse_vehicle(text, file_name=path.name)


BY_SENSE = (
    ('resistance = ["0.8 ohm", "3.0 ohm"]', 'sense = ["2.5 V", "3.5 V"]'),
    ('"r1",     type = "u16", unit = "mohm", scale = 10, valid = [0, 655350], meaning = "pyro_1_resistance"',
     '"r1",     type = "u16", unit = "mV", valid = [0, 13000], meaning = "pyro_1_sense"'),
    ('"r2",     type = "u16", unit = "mohm", scale = 10, valid = [0, 655350], meaning = "pyro_2_resistance"',
     '"r2",     type = "u16", meaning = "pyro_2_continuity"'),
)  # fmt: skip


def test_circuits_are_judged_by_sense_or_continuity_where_no_resistance_is_sent(bench) -> None:
    vehicle = other_file(EXAMPLE_VEHICLE, *BY_SENSE)
    proof = replace(bench(CIRCUIT), vehicle=vehicle).proof()
    assert proof.outcome is PASSED, proof.reasons
    assert any(
        re.match(r"Channel 1 shows continuity with the dummy in: [23]\.\d\d V\.", reason) for reason in proof.reasons
    )
    assert "Channel 2 shows continuity with the dummy in: closed." in proof.reasons
    for channel, says in (
        (1, "Channel 1 reads 0.00 V with the dummy in, 2.5 to 3.5 V allowed."),
        (2, "Channel 2 reads open"),
    ):
        proof = replace(bench(CIRCUIT, faults=[f"igniter-open:{channel}@0"]), vehicle=vehicle).proof()
        assert proof.outcome is FAILED
        assert any(reason.startswith(says) for reason in proof.reasons), proof.reasons


def test_lean_about_both_axes_at_once_does_not_look_like_swapped_servos(bench, monkeypatch) -> None:
    # 5.4 deg about the one axis and four times that about the other, which the gimbal rights as well
    leans = {"lean x": (0.6, 2.4), "lean y": (2.4, 0.6)}
    monkeypatch.setattr("groundstation.simulator.hands.LEANS", leans)
    proof = made(bench, SIGN, seed=77)
    assert proof.outcome is PASSED, proof.reasons


NO_CURRENT = ('unit = "mA", valid = [0, 20000], meaning = "battery_current"', 'unit = "mA"')


def test_endurance_without_a_current_goes_by_the_files_or_by_the_run_alone(bench) -> None:
    def endurance(name, *changes, **how):
        return replace(
            bench(name, step_s=24.0, **how), vehicle=other_file(EXAMPLE_VEHICLE, NO_CURRENT, *changes)
        ).proof()

    proof = endurance(ON)
    assert proof.outcome is PASSED, proof.reasons
    assert any("min at 0.49 A, at least 10 min allowed." in reason for reason in proof.reasons), proof.reasons
    no_loads = ('board = "195 mA"', '# board = "195 mA"')
    proof = endurance(OFF, no_loads)
    assert proof.outcome is CANNOT_TELL
    assert proof.reasons == (
        "The pack stood 0 min above the least voltage for GO, at least 20 min allowed; how much longer it lasts no "
        "current says.",
    )
    assert endurance(OFF, no_loads, ('planned_hold = "20 min" ', 'planned_hold = "20 s" ')).outcome is PASSED
    proof = endurance(OFF, no_loads, faults=["battery-low@5"])
    assert proof.outcome is FAILED
    assert "was it charged" in proof.look_first


SWAPPED_SERVOS = (("gimbal_x_", "gimbal_s_"), ("gimbal_y_", "gimbal_x_"), ("gimbal_s_", "gimbal_y_"))
MISDESCRIBED = [
    (SIGN, "redshank", SWAPPED_SERVOS, "A lean about the outer axis moves the other axis.", "likely swapped"),
    (
        SIGN,
        "redshank",
        (("signs = [1, -1]", "signs = [1, 1]"),),
        "inner axis adds to a lean",
        "its sign under [gimbal]",
    ),
    (
        SIGN,
        "curlew",
        (("signs = [1, 1]", "signs = [-1, 1]"),),
        "outer axis adds to a lean",
        "its sign under [gimbal]",
    ),
    (SWEEP, "redshank", (('"7 deg"', '"12 deg"'),), "reached 58 % of its limit", "the sweep"),
    (PIN, "redshank", (("powers_board = false", "powers_board = true"),), "powered with the pin in", "bypassed"),
    (
        PIN,
        "curlew",
        (("powers_board = true  ", "powers_board = false "),),
        "falls silent with the pin in",
        "or powers_board",
    ),
    (PIN, "redshank", (("inserted_reads = 1", "inserted_reads = 0"),), "reads out with the pin in", "inserted_reads"),
    (
        CIRCUIT,
        "redshank",
        (('["0.9 ohm", "2.6 ohm"]', '["4 ohm", "8 ohm"]'),),
        "4.0 to 8.0 ohm allowed",
        "dummy itself",
    ),
    (WALK, "redshank", (('"-120 dBm"', '"-90 dBm"'),), "2 dB would be left by its strength", "both antennas"),
]


@pytest.mark.parametrize(
    ("name", "vehicle", "changes", "says", "look"),
    MISDESCRIBED,
    ids=[f"{m[0]}-{k}" for k, m in enumerate(MISDESCRIBED)],
)
def test_vehicle_file_that_is_wrong_of_the_vehicle_shows(bench, name, vehicle, changes, says, look) -> None:
    told = other_file(REDSHANK if vehicle == "redshank" else EXAMPLE_VEHICLE, *changes)
    proof = made(bench, name, vehicle, told=told)
    assert proof.outcome is (CANNOT_TELL if name is SWEEP else FAILED), proof.reasons
    assert any(says in reason for reason in proof.reasons), proof.reasons
    assert look in proof.look_first, proof.look_first


@pytest.mark.parametrize(("lean_deg", "outcome"), [(4.8, CANNOT_TELL), (5.6, PASSED)])
def test_wiggle_of_five_degrees_is_the_least_that_tells(bench, monkeypatch, lean_deg, outcome) -> None:
    monkeypatch.setattr("groundstation.simulator.hands.LEAN_RAD", math.radians(lean_deg))
    proof = made(bench, SIGN, seed=round(10 * lean_deg))
    assert proof.outcome is outcome, proof.reasons


def test_margin_is_what_free_space_leaves_from_the_farthest_stop(bench) -> None:
    # Recommendation ITU-R P.525: 20 dB for ten times the distance, so 8.0 dB from 400 m to 1000 m.
    proof = made(bench, WALK)
    figures = {figure.name: figure.value for figure in proof.figures}
    expected = figures["rssi at 400 m"] + 120.0 - 20.0 * math.log10(1000.0 / 400.0)
    assert figures["margin at 1000 m"] == pytest.approx(expected, abs=0.11)
    told = made(bench, WALK, said=((3, "800"),))
    figures = {figure.name: figure.value for figure in told.figures}
    expected = figures["rssi at 800 m"] + 120.0 - 20.0 * math.log10(1000.0 / 800.0)
    assert figures["margin at 1000 m"] == pytest.approx(expected, abs=0.11)


def test_margin_by_the_signal_to_noise_ratio_goes_by_the_published_limit_of_the_setting(bench) -> None:
    # Semtech, SX1276 data sheet, revision 7, table 13: -20 dB at spreading factor 12.
    lora = ('sensitivity = "-120 dBm"', 'spreading_factor = 12\nbandwidth = "125 kHz"')
    proof = made(bench, WALK, told=other_file(REDSHANK, lora))
    figures = {figure.name: figure.value for figure in proof.figures}
    expected = figures["snr at 400 m"] + 20.0 - 20.0 * math.log10(1000.0 / 400.0)
    assert figures["margin at 1000 m"] == pytest.approx(expected, abs=0.11)
    assert proof.outcome is FAILED
    assert "dB would be left by its signal-to-noise ratio, at least 10 dB allowed." in proof.reasons[0]


def test_loss_is_not_known_of_a_vehicle_that_does_not_count_its_packets(bench) -> None:
    uncounted = other_file(REDSHANK, (', meaning = "sequence"', ""), ('sequence_counts = "all packets"', ""))
    proof = made(bench, WALK, told=uncounted)
    assert proof.outcome is CANNOT_TELL
    assert any("does not send sequence" in reason for reason in proof.reasons), proof.reasons


@pytest.mark.parametrize("lean", [(0.15, 0.0, 0.0), (0.0, 0.15, 0.0), (-0.1, 0.1, 0.0)])
def test_nozzle_swings_away_from_the_side_that_the_nose_leans_to_where_it_rights_a_lean(lean) -> None:
    # The motor turned by +d about the axis of a lean +t rights it; its open end points along the motor's -z.
    body = from_rotation_vector(*lean)
    motor = product(body, from_rotation_vector(*(0.4 * part for part in lean)))
    nose = to_local(body, (0.0, 0.0, 1.0))
    tail, nozzle = to_local(body, (0.0, 0.0, -1.0)), to_local(motor, (0.0, 0.0, -1.0))
    swing = [n - t for n, t in zip(nozzle, tail, strict=True)]
    assert swing[0] * nose[0] + swing[1] * nose[1] < -1e-3
    # and the thrust, along the motor's +z at the tail, pushes the tail towards that side
    thrust = to_local(motor, (0.0, 0.0, 1.0))
    across = [
        f - n * sum(a * b for a, b in zip(thrust, nose, strict=True)) for f, n in zip(thrust, nose, strict=True)
    ]
    assert across[0] * nose[0] + across[1] * nose[1] > 1e-3


def true_minutes(vehicle, charge: float, current_a: float, limit_v: float) -> float:
    """How long the simulated pack stays above a voltage under a steady current, second by second."""
    pack, seconds = Pack(vehicle.battery, charge), 0
    while pack.voltage_v(current_a) >= limit_v:
        pack.draw(current_a, 1.0)
        seconds += 1
    return seconds / 60.0


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("name", "current_a"), [(OFF, 0.194), (ON, 0.484)])
def test_minutes_are_those_the_simulated_pack_lasts(bench, name, current_a, seed) -> None:
    walk = bench(name, "curlew", step_s=24.0, seed=40 + seed)
    figures = {figure.name: figure.value for figure in walk.proof().figures}
    simulated = SimulatedVehicle(walk.vehicle, load_station(EXAMPLE_STATION).site, seed=40 + seed)
    charge = next(iter(simulated.moments())).charge
    limit_v = walk.vehicle.limits.cell_voltage_min_v * walk.vehicle.battery.cells
    true = true_minutes(walk.vehicle, charge, current_a, limit_v)
    assert figures["least of its 95 % interval"] <= true <= figures["greatest of its 95 % interval"]
    assert figures["mean current"] == pytest.approx(current_a, abs=0.005)
