import pytest

from groundstation.config.errors import ConfigError
from groundstation.config.load import parse_vehicle

from .sound_files import VEHICLE, messages

# (what is changed in the file, into what, every message that gives)
PACKET_FAULTS = [
    # packets
    (
        'name = "slow"',
        'name = "fast"',
        ['65: telemetry.packet[fast].name: found "fast", which a packet has already, expected one of its own'],
    ),
    (
        "id = 2",
        "id = 1",
        ["66: telemetry.packet[slow].id: found 1, which a packet has already, expected one of its own"],
    ),
    (
        "id = 2",
        "id = 256",
        ["66: telemetry.packet[slow].id: found 256, expected 0 to 255, which is what a u8 can hold"],
    ),
    (
        'byte_order = "big"',
        'byte_order = "big"\nid_type = "none"',
        ['55: telemetry.id_type: found "none" with 2 packets, expected "u8", "u16" or "u32" to tell them apart'],
    ),
    # fields
    (
        'name = "x"',
        'name = "p"',
        [
            '62: telemetry.packet[fast].fields[p].name: found "p", which a field of this packet has already, '
            "expected one of its own"
        ],
    ),
    (
        'name = "state"',
        'name = "v"',
        [
            '74: telemetry.packet[slow].fields[flags].bits[v].name: found "v", which a field of this '
            "packet has already, expected one of its own"
        ],
    ),
    (
        'name = "x"',
        'name = "a.x"',
        [
            '62: telemetry.packet[fast].fields[a.x].name: found "a.x", '
            "expected a letter, then letters, digits, underscores and hyphens"
        ],
    ),
    (
        'type = "i8"',
        'type = "i65"',
        [
            '62: telemetry.packet[fast].fields[x].type: found "i65", '
            "expected u1 to u64, i1 to i64, f32, f64, bool, q8.8, uq8.8, text8, quaternion10 or pad8; "
            'did you mean "i64"?'
        ],
    ),
    (
        'type = "bool"',
        'type = "boole"',
        [
            '76: telemetry.packet[slow].fields[ok].type: found "boole", '
            "expected u1 to u64, i1 to i64, f32, f64, bool, q8.8, uq8.8, text8, quaternion10 or pad8; "
            'did you mean "bool"?'
        ],
    ),
    (
        'type = "bool"',
        'type = "bool", scale = 2',
        ["76: telemetry.packet[slow].fields[ok].scale: found 2.0 on a bool, expected none: a bool is 0 or 1"],
    ),
    (
        "scale = 0.5",
        "scale = 0",
        [
            "62: telemetry.packet[fast].fields[x].scale: found 0, "
            "expected any other number: every value would be the same"
        ],
    ),
    (
        "scale = 0.5",
        'unit = "flub"',
        ['62: telemetry.packet[fast].fields[x].unit: found "flub", which is not known, expected a unit such as "mV"'],
    ),
    (
        'unit = "mV"',
        'unit = "mbar"',
        [
            '70: telemetry.packet[slow].fields[v].unit: found "mbar", '
            'expected a unit that converts to V for the meaning "battery_voltage"'
        ],
    ),
    (
        ' unit = "mV",',
        "",
        [
            "70: telemetry.packet[slow].fields[v].unit: found no unit, "
            'expected a unit that converts to V for the meaning "battery_voltage"'
        ],
    ),
    (
        'name = "pin", at = 0',
        'name = "pin", unit = "V", at = 0',
        [
            '73: telemetry.packet[slow].fields[flags].bits[pin].unit: found "V", '
            'expected no unit for the meaning "pull_pin"'
        ],
    ),
    (
        "valid = [1000, 2000]",
        "valid = [2000, 1000]",
        [
            "61: telemetry.packet[fast].fields[p].valid: found [2000.0, 1000.0], "
            "expected the least value first, then the greatest"
        ],
    ),
    (
        'type = "u24"',
        'type = "u8"',
        [
            "61: telemetry.packet[fast].fields[p].valid: found [1000.0, 2000.0], "
            "expected a range that the field can reach: it goes from 0 to 255 Pa"
        ],
    ),
    (
        'meaning = "pressure"',
        'meaning = "presure"',
        [
            '61: telemetry.packet[fast].fields[p].meaning: found "presure", '
            'expected the name of a standard measurement; did you mean "pressure"?'
        ],
    ),
    (
        "pyro_1_resistance",
        "pyro_1_resistence",
        [
            '71: telemetry.packet[slow].fields[r].meaning: found "pyro_1_resistence", '
            'expected the name of a standard measurement; did you mean "pyro_1_resistance"?'
        ],
    ),
    (
        "pyro_1_resistance",
        "pyro_17_resistance",
        ['71: telemetry.packet[slow].fields[r].meaning: found "pyro_17_resistance", expected a channel from 1 to 16'],
    ),
    (
        "pyro_1_resistance",
        "pyro_2_resistance",
        [
            '71: telemetry.packet[slow].fields[r].meaning: found "pyro_2_resistance", but no [[pyro]] '
            "has channel 2, expected one of 1"
        ],
    ),
    (
        'unit = "mV", meaning = "battery_voltage"',
        'unit = "Pa", meaning = "pressure"',
        [
            '70: telemetry.packet[slow].fields[v].meaning: found "pressure", which fast.p has already, '
            "expected it on one field"
        ],
    ),
    (
        "scale = 0.5",
        'meaning = "sequence"',
        [
            '62: telemetry.packet[fast].fields[x].meaning: found "sequence", which fast.n has already, '
            "expected it on one field",
            '62: telemetry.packet[fast].fields[x].type: found "i8" for the meaning "sequence", expected u8 to u64',
        ],
    ),
    # the packet counter
    (
        '{ name = "n", type = "u16", meaning = "sequence" },\n  { name = "v"',
        '{ name = "n", type = "u8", meaning = "sequence" },\n  { name = "v"',
        [
            '69: telemetry.packet[slow].fields[n].type: found "u8" for the counter of all packets, '
            'expected "u16" as in the first packet that has it'
        ],
    ),
    (
        '{ name = "n", type = "u16", meaning = "sequence" },\n  { name = "p"',
        '{ name = "n", type = "u16", scale = 2, meaning = "sequence" },\n  { name = "p"',
        [
            '60: telemetry.packet[fast].fields[n].scale: found 2.0 on the meaning "sequence", '
            "expected none: it counts packets"
        ],
    ),
    # bits
    (
        "at = 1, width = 3",
        "at = 6, width = 3",
        [
            "74: telemetry.packet[slow].fields[flags].bits[state]: found bits 6 to 8, "
            "expected bits from 0 to 7 of the u8"
        ],
    ),
    (
        "at = 1, width = 3",
        "at = 8",
        ["74: telemetry.packet[slow].fields[flags].bits[state]: found bit 8, expected bits from 0 to 7 of the u8"],
    ),
    (
        "at = 1, width = 3",
        "at = 0, width = 3",
        [
            '74: telemetry.packet[slow].fields[flags].bits[state]: found bit 0, which belongs to "pin", '
            "expected a bit of its own"
        ],
    ),
    (
        '"flags", type = "u8"',
        '"flags", type = "i8"',
        ['72: telemetry.packet[slow].fields[flags].type: found "i8" on a field with bits, expected u8 to u64'],
    ),
    (
        '"flags", type = "u8"',
        '"flags", type = "u8", unit = "V"',
        [
            '72: telemetry.packet[slow].fields[flags].unit: found "V" on a field with bits, '
            "expected it on one of the bits"
        ],
    ),
    (
        "at = 1, width = 3",
        'at = 1, width = 3, meaning = "sequence"',
        [
            '74: telemetry.packet[slow].fields[flags].bits[state].meaning: found "sequence" on bits of a field, '
            "expected it on a field of its own",
            '74: telemetry.packet[slow].fields[flags].bits[state].meaning: found "sequence", which '
            "slow.n has already, "
            "expected it on one field",
        ],
    ),
]


@pytest.mark.parametrize(
    ("old", "new", "expected"), PACKET_FAULTS, ids=[f"{o[:24]}-{n[:24]}" for o, n, _ in PACKET_FAULTS]
)
def test_fault_in_a_packet_is_told_with_line_key_found_and_expected(old, new, expected) -> None:
    assert VEHICLE.count(old) >= 1
    with pytest.raises(ConfigError) as caught:
        parse_vehicle(VEHICLE.replace(old, new, 1), file_name="file.toml")
    assert sorted(messages(caught.value)) == sorted(expected)
