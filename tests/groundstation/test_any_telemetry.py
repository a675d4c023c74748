"""A vehicle file with any framing, checksum and kind of field: from the simulator's bytes to GO."""

import itertools
import json
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from decoders import checksums
from decoders import framing as framings
from decoders.layout import Reason
from decoders.stream import StreamDecoder
from groundstation.config.framing import FRAMING_NAMES
from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, parse_vehicle
from groundstation.config.telemetry import layout_of
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent
from groundstation.pipeline import Pipeline
from groundstation.replay import run_through
from groundstation.simulator.radio import PERFECT
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.timeline import Timeline

TEXT = EXAMPLE_VEHICLE.read_text(encoding="utf-8")
SITE = load_station(EXAMPLE_STATION).site
STARTED_NS = 1_790_000_000 * NS_PER_S
SECONDS = 12.5  # GO comes after ten seconds without a fault

FRAMINGS = {
    "cobs": '"cobs"',
    "slip": '"slip"',
    "rfc 1662": '{ kind = "rfc 1662" }',
    "hexadecimal lines": '"hexadecimal lines"',
    "sync and length": (
        '{ kind = "sync", sync = "A5 5A", header = 3, '
        'length = { type = "u16", at = 1, counts = "body", less = 1, byte_order = "big" } }'
    ),
    "sync": '{ kind = "sync", sync = "EB:90:01" }',
    "fixed length": '"fixed length"',
    "delimited values": '{ kind = "delimited values", separator = ";" }',
    "key=value": '"key=value"',
    "nmea 0183": '"nmea 0183"',
    "ccsds": '"ccsds"',
}
LINES = ("delimited values", "key=value", "nmea 0183")
CHECKSUMS = {
    "CRC-16/IBM-3740": '"CRC-16/IBM-3740"',
    "Fletcher-16, big, first byte left out": '{ kind = "Fletcher-16", order = "big", skip = 1 }',
    "own CRC before the body": (
        '{ kind = "crc", width = 24, polynomial = 0x5D6DCB, init = 0x123456, reflect_in = true, place = "start" }'
    ),
}
IN_SPACE_PACKETS = {
    "CRC-16/IBM-3740": '{ kind = "CRC-16/IBM-3740", order = "big" }',
    "sum-32 with the marker": '{ kind = "sum-32", covers = "frame", leave = 1 }',
    "none": '"none"',
}
IN_LINES = {"XOR-8": '"XOR-8"', "CRC-32/ISO-HDLC": '"CRC-32/ISO-HDLC"', "none": '"none"'}


def written(value: object) -> str:
    """A value as TOML."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {written(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    return json.dumps(value)


def vehicle_with(
    framing: str, checksum: str, packets: list[dict[str, Any]], head: str = 'byte_order = "little"\n'
) -> Vehicle:
    """The example with another stream."""
    rest = TEXT.split("[telemetry]")[0]
    rows = f"{rest}[telemetry]\nframing = {framing}\nchecksum = {checksum}\n{head}"
    for packet in packets:
        rows += "[[telemetry.packet]]\n" + "".join(f"{key} = {written(value)}\n" for key, value in packet.items())
    return parse_vehicle(rows, file_name="any.toml")


def packets_of_example() -> list[dict[str, Any]]:
    packets: list[dict[str, Any]] = tomllib.loads(TEXT)["telemetry"]["packet"]
    return packets


def packets_for(framing: str) -> list[dict[str, Any]]:
    """The example's packets, as far as they have to be others for a framing."""
    packets = packets_of_example()
    if framing in LINES:  # a line has no bit fields: each becomes a number of its own
        for packet in packets:
            packet["fields"] = list(itertools.chain.from_iterable(map(_without_bits, packet["fields"])))
            del packet["id"]
    if framing == "ccsds":  # the packet counter is the header's
        for packet in packets:
            packet["fields"] = [item for item in packet["fields"] if item.get("meaning") != "sequence"]
    return packets


def _without_bits(item: dict[str, Any]) -> Iterator[dict[str, Any]]:
    if "bits" not in item:
        yield item
    for part in item.get("bits", []):
        yield {key: value for key, value in part.items() if key not in ("at", "width")} | {"type": "u8"}


def combinations() -> Iterator[Any]:
    for name, framing in FRAMINGS.items():
        allowed = IN_LINES if name in LINES else IN_SPACE_PACKETS if name == "ccsds" else CHECKSUMS
        for label, checksum in allowed.items():
            yield pytest.param(name, framing, checksum, id=f"{name}, {label}")


def flown(vehicle: Vehicle, seconds: float = SECONDS, read_as: Vehicle | None = None) -> Timeline:
    """The simulated vehicle on the pad, read by its own file or another."""
    reader = read_as or vehicle
    items: list[Chunk | StationEvent] = [StationEvent(STARTED_NS, EventKind.RECORDING, True, "recording")]
    frames = SimulatedVehicle(vehicle, SITE, seed=3, radio=PERFECT).frames(seconds)
    items += [Chunk.at(STARTED_NS + round(frame.t_s * NS_PER_S), frame.data, link="radio") for frame in frames]
    ended_ns = STARTED_NS + round(seconds * NS_PER_S)
    return run_through(Pipeline(reader, SITE, started_ns=STARTED_NS), items, ended_ns=ended_ns)


def assert_go(timeline: Timeline) -> None:
    last = timeline.verdict_changes[-1]
    assert (last.verdict, [reason.text for reason in last.reasons]) == ("GO", [])


@pytest.mark.parametrize(("name", "framing", "checksum"), list(combinations()))
def test_any_framing_and_checksum_reach_go(name: str, framing: str, checksum: str) -> None:
    vehicle = vehicle_with(framing, checksum, packets_for(name))
    timeline = flown(vehicle)
    assert_go(timeline)
    assert timeline.reject_counts.total() == 0
    sent = {packet.name: packet.rate_hz * SECONDS for packet in vehicle.telemetry.packets}
    assert {name: len(table) for name, table in timeline.packets.items()} == pytest.approx(sent, abs=1.0)


@pytest.mark.parametrize("name", ["delimited values", "key=value"])
def test_lines_without_tags_reach_go(name: str) -> None:
    packets = packets_for(name)
    vehicle = vehicle_with(FRAMINGS[name], '"XOR-8"', packets, 'byte_order = "little"\nid_type = "none"\n')
    (first, *_) = SimulatedVehicle(vehicle, SITE, seed=3, radio=PERFECT).frames(0.5)
    assert not any(first.data.startswith(packet["name"].encode()) for packet in packets)
    timeline = flown(vehicle)
    assert_go(timeline)
    assert timeline.reject_counts.total() == 0


@pytest.mark.parametrize("name", ["delimited values", "key=value", "nmea 0183", "hexadecimal lines"])
def test_a_receivers_own_lines_among_lines_of_packets_are_no_damage(name: str) -> None:
    vehicle = vehicle_with(FRAMINGS[name], '"XOR-8"', packets_for(name))
    items: list[Chunk | StationEvent] = [StationEvent(STARTED_NS, EventKind.RECORDING, True, "recording")]
    frames = SimulatedVehicle(vehicle, SITE, seed=3, radio=PERFECT).frames(SECONDS)
    sent = [(frame.t_s, frame.data + b"RSSI -80 dBm, SNR 9.5 dB\r\n") for frame in frames]
    items += [Chunk.at(STARTED_NS + round(t_s * NS_PER_S), data, link="radio") for t_s, data in sent]
    ended_ns = STARTED_NS + round(SECONDS * NS_PER_S)
    timeline = run_through(Pipeline(vehicle, SITE, started_ns=STARTED_NS), items, ended_ns=ended_ns)
    assert_go(timeline)
    assert timeline.reject_counts == {Reason.TEXT: len(sent)}


def test_every_framing_of_the_decoders_has_its_name_in_the_vehicle_file() -> None:
    assert set(FRAMING_NAMES) == set(framings.names())
    assert {name.split(" and ")[0] for name in FRAMINGS} == set(framings.names())


def test_every_checksum_of_the_decoders_reads_back_what_it_sealed() -> None:
    for name in checksums.names():
        if name == "none":
            continue  # then fixed length would have nothing to lock on to, and COBS nothing to refuse
        vehicle = vehicle_with('"cobs"', json.dumps(name), packets_of_example())
        frames = [f.data for f in SimulatedVehicle(vehicle, SITE, seed=1, radio=PERFECT).frames(1.0)]
        decoded = StreamDecoder(layout_of(vehicle)).feed(b"\0" + b"".join(frames))
        assert (sum(map(len, decoded.tables)), decoded.rejects) == (len(frames), ()), name


def test_every_kind_of_field_reaches_go() -> None:
    motion, health = packets_of_example()
    sensed = ("attitude", "accel", "gyro")
    others = [item for item in motion["fields"] if not item.get("meaning", "").startswith(sensed)]
    accel = {"unit": "m/s^2", "scale": 0.005, "valid": [-160, 160], "count": 3, "meanings": _axes("accel")}
    gyro = {"unit": "deg/s", "scale": 0.0625, "valid": [-2000, 2000], "count": 3, "meanings": _axes("gyro")}
    motion["fields"] = [
        {"name": "spare", "type": "pad3"},
        {"name": "a", "type": "i17"} | accel,
        {"name": "g", "type": "i17"} | gyro,
        {"name": "q", "type": "quaternion15", "meaning": "attitude"},
        {"name": "filler", "type": "pad3"},
        *others,
    ]
    fields = {item["name"]: item for item in health["fields"]}
    fields["vbat"] |= {"type": "uq8.8", "unit": "V", "valid": [6, 13]}
    fields["tbat"] |= {"polynomial": [-50.0, 0.02, 1e-9], "type": "u13"}
    del fields["tbat"]["scale"]
    fields["tbay"] |= {"table": [[0, -50], [4000, 40], [8191, 120]], "type": "u13"}
    del fields["tbay"]["scale"]
    fields["lat"] |= {"form": "degrees and minutes", "scale": 1e-5}
    fields["lon"] |= {"form": "degrees and minutes", "scale": 1e-5, "type": "i64"}
    health["fields"] = [
        *(fields[name] for name in ("n", "t", "vbat", "ibat", "tbat", "tbay")),
        {"name": "spare", "type": "pad6"},
        *(item for name, item in fields.items() if name not in ("n", "t", "vbat", "ibat", "tbat", "tbay")),
        {"name": "call", "type": "text6", "optional": True},
        {"name": "fp", "type": "u32", "meaning": "layout_fingerprint"},
    ]
    head = 'byte_order = "little"\nbit_order = "most significant first"\nid_type = "u5"\nid_at = 0\n'
    # the discriminator's five bits, then the pad's three
    health["fields"].insert(0, {"name": "spare0", "type": "pad3"})
    vehicle = vehicle_with('"cobs"', '"CRC-16/IBM-3740"', [motion, health], head)
    timeline = flown(vehicle)
    assert_go(timeline)
    fingerprint = timeline.series("layout_fingerprint")
    assert fingerprint is not None
    assert len(fingerprint.values) > 40
    changed = vehicle_with('"cobs"', '"CRC-16/IBM-3740"', [motion, health | {"name": "health2"}], head)
    other = flown(vehicle, read_as=changed)
    last = other.assessment_at(other.now_ns)
    assert last is not None
    assert (last.verdict, [reason.check for reason in last.reasons]) == ("HOLD", ["layout_fingerprint"])


RECEIVERS = {
    "cobs, bytes after": (
        '"cobs"',
        {
            "after": [
                {"name": "rssi", "type": "i8", "unit": "dBm", "meaning": "rssi"},
                {"name": "snr", "type": "i8", "unit": "dB", "scale": 0.25, "meaning": "snr"},
            ]
        },
    ),
    "sync and length, bytes on both sides": (
        FRAMINGS["sync and length"],
        {
            "before": [{"name": "rssi", "type": "u8", "unit": "dBm", "scale": -1, "meaning": "rssi"}],
            "after": [{"name": "snr", "type": "i8", "unit": "dB", "scale": 0.25, "meaning": "snr"}],
        },
    ),
    "cobs, bytes behind the delimiter": (
        '"cobs"',
        {
            "after_delimiter": [
                {"name": "rssi", "type": "i8", "unit": "dBm", "meaning": "rssi"},
                {"name": "snr", "type": "i8", "unit": "dB", "scale": 0.25, "meaning": "snr"},
            ]
        },
    ),
    "slip, a line in front": (
        '"slip"',
        {
            "line": "RSSI {rssi} SNR {snr}",
            "before": [
                {"name": "rssi", "type": "f64", "unit": "dBm", "meaning": "rssi"},
                {"name": "snr", "type": "f64", "unit": "dB", "meaning": "snr"},
            ],
        },
    ),
    "sync and length, a line behind": (
        FRAMINGS["sync and length"],
        {
            "line": "RSSI {rssi} SNR {snr}",
            "after": [
                {"name": "rssi", "type": "f64", "unit": "dBm", "meaning": "rssi"},
                {"name": "snr", "type": "f64", "unit": "dB", "meaning": "snr"},
            ],
        },
    ),
    "lines of text around hexadecimal digits": (
        '"hexadecimal lines"',
        {
            "line": "HEARD {},{packet},{rssi},{snr}",
            "after": [
                {"name": "rssi", "type": "f64", "unit": "dBm", "meaning": "rssi"},
                {"name": "snr", "type": "f64", "unit": "dB", "meaning": "snr"},
            ],
        },
    ),
}


@pytest.mark.parametrize(("framing", "receiver"), RECEIVERS.values(), ids=RECEIVERS)
def test_what_a_receiver_adds_to_each_packet_becomes_measurements_of_it(framing: str, receiver: object) -> None:
    head = f'byte_order = "little"\nreceiver = {written(receiver)}\n'
    timeline = flown(vehicle_with(framing, '"CRC-16/IBM-3740"', packets_of_example(), head))
    assert_go(timeline)
    assert timeline.reject_counts.total() == 0
    for name, low, high in (("rssi", -80, -45), ("snr", 5, 15)):
        for packet in ("motion", "health"):
            values = timeline.packets[packet].column(name)
            assert len(values) == len(timeline.packets[packet])
            assert low < values.min() < values.max() < high
        series = timeline.series(name)
        assert series is not None
        assert len(series.values) == len(timeline.packets["motion"])


def _axes(what: str) -> list[str]:
    return [f"{what}_{axis}" for axis in "xyz"]


def test_optional_tail_that_never_comes_is_missing_and_holds() -> None:
    packets = packets_of_example()
    for item in packets[1]["fields"]:
        if item["name"] == "resets":
            item["optional"] = True
    vehicle = vehicle_with('"cobs"', '"CRC-16/IBM-3740"', packets)
    assert_go(flown(vehicle))
    assert [packet.lengths for packet in layout_of(vehicle).packets] == [(38,), (24, 39)]


def test_two_vehicles_on_one_channel_are_told_apart_by_their_address() -> None:
    packets = packets_of_example()
    for packet in packets:
        packet["fields"].insert(0, {"name": "who", "type": "u8", "meaning": "vehicle_address"})
    ours, theirs = (
        vehicle_with('"cobs"', '"CRC-16/IBM-3740"', packets, f'byte_order = "little"\naddress = {address}\n')
        for address in (7, 8)
    )
    sent = {
        vehicle.telemetry.address: list(SimulatedVehicle(vehicle, SITE, seed=3, radio=PERFECT).frames(SECONDS))
        for vehicle in (ours, theirs)
    }
    items: list[Chunk | StationEvent] = [StationEvent(STARTED_NS, EventKind.RECORDING, True, "recording")]
    for one, other in zip(sent[7], sent[8], strict=True):
        items.append(Chunk.at(STARTED_NS + round(one.t_s * NS_PER_S), one.data + other.data, link="radio"))
    timeline = run_through(Pipeline(ours, SITE, started_ns=STARTED_NS), items, ended_ns=None)
    assert timeline.reject_counts == {Reason.OTHER_VEHICLE: len(sent[8])}
    assert sum(len(table) for table in timeline.packets.values()) == len(sent[7])
    assert set(timeline.series("vehicle_address").values) == {7.0}  # type: ignore[union-attr]
    assert timeline.radio.column("damaged").sum() == 0
