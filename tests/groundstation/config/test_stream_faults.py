"""What a vehicle file may have wrong in its stream: framing, checksum, discriminator, fields, receiver."""

import re
from dataclasses import replace

import pytest

from decoders.layout import LineMark, Reason
from decoders.stream import StreamDecoder
from groundstation.config.errors import ConfigError
from groundstation.config.load import EXAMPLE_VEHICLE, parse_vehicle
from groundstation.config.telemetry import columns, columns_of, layout_of, sources_of, texts_of

REST = EXAMPLE_VEHICLE.read_text(encoding="utf-8").split("[telemetry]")[0]
FIRST_LINE = REST.count("\n") + 1


def parsed(fields="", *, framing='"cobs"', checksum='"CRC-16/IBM-3740"', head="", packet="id = 7\n"):
    text = (
        f'{REST}[telemetry]\nframing = {framing}\nchecksum = {checksum}\nbyte_order = "little"\n{head}'
        f'[[telemetry.packet]]\nname = "p"\n{packet}rate_hz = 5\nfields = [\n{fields or FIELD}\n]\n'
    )
    return parse_vehicle(text, file_name="v.toml")


def faults(fields="", **stream):
    with pytest.raises(ConfigError) as caught:
        parsed(fields, **stream)
    return [re.sub(r"^v\.toml:[0-9]+: telemetry\.?", "", str(fault)) for fault in caught.value.faults]


FIELD = '{ name = "x", type = "u8" }'
SYNC = '{{ kind = "sync", sync = "A5 5A", {} }}'

STREAM_FAULTS = [
    ({"framing": '"sync"'}, 'framing: found "sync" alone, expected a table with the sync word'),
    ({"framing": '{ kind = "sync" }'}, 'framing: found no sync word, expected one such as sync = "A5 5A"'),
    ({"framing": '{ kind = "sync", sync = "A5 5" }'}, 'framing.sync: found "A5 5", expected one to eight bytes'),
    ({"framing": '{ kind = "slip", sync = "A5" }'}, 'framing.sync: found it on "slip", expected it for "sync" only'),
    (
        {"framing": '{ kind = "cobs", separator = ";" }'},
        'framing.separator: found it on "cobs", expected it for',
    ),
    (
        {"framing": SYNC.format('length = { type = "u12", counts = "body" }')},
        'framing.length.type: found "u12", expected "u8", "u16", "u24" or "u32"',
    ),
    (
        {"framing": SYNC.format('header = 1, length = { type = "u16", counts = "body" }')},
        "framing.header: found 1 bytes, expected at least the 2 of the length",
    ),
    ({"checksum": '"CRC-16/IBM"'}, 'checksum: found "CRC-16/IBM", expected the name of a checksum such as'),
    ({"checksum": '"crc"'}, 'checksum: found "crc" alone, expected a table with its width, polynomial and so on'),
    ({"checksum": '{ kind = "crc", width = 16 }'}, "checksum.polynomial: found no such key, expected a whole number"),
    (
        {"checksum": '{ kind = "crc", width = 8, polynomial = 0x107 }'},
        "checksum.polynomial: found 0x107, expected a number of 8 bits",
    ),
    (
        {"checksum": '{ kind = "XOR-8", width = 8 }'},
        'checksum.width: found it on "XOR-8", expected it for kind = "crc" only',
    ),
    ({"checksum": '{ kind = "XOR-8", skip = 9 }'}, "checksum: covers bytes 9 to 0 before the end, expected a range"),
    ({"checksum": '{ kind = "XOR-8", place = "start" }', "framing": '"ccsds"'}, 'checksum.place: found "start"'),
    ({"head": 'id_type = "i8"\n'}, 'id_type: found "i8", expected "none" or u1 to u64'),
    (
        {"head": 'id_type = "u3"\n'},
        "packet[p].fields: found 11 bits in the body, expected whole bytes: pad5 at the end",
    ),
    ({"head": "id_at = 3\n"}, "packet[p].fields: found 8 bits of fields before the discriminator at bit 24"),
    ({"head": 'id_at = 1\nid_type = "u4"\n'}, "packet[p].fields: found 12 bits in the body"),
    ({"packet": ""}, "packet[p].id: found no such key, expected a whole number, at least 0"),
    ({"packet": 'id = 7\ntag = "T"\n'}, 'packet[p].tag: found it on "cobs", expected it for lines of text only'),
    ({"packet": "id = 2047\n", "framing": '"ccsds"'}, "packet[p].id: found 2047, expected 0 to 2046"),
    ({"head": "id_at = 1\n", "framing": '"ccsds"'}, 'id_at: found it on "ccsds", expected none'),
    ({"head": "address = 7\n"}, 'packet[p].fields: found no unsigned field with the meaning "vehicle_address"'),
    ({"head": "receiver = {}\n"}, "receiver: found no field, expected one or more before or after the packet"),
    (
        {"head": 'receiver = { after = [{ name = "x", type = "i8" }] }\n'},
        'receiver.after[x].name: found "x", which a field of packet p has already, expected one of its own',
    ),
    (
        {"head": 'receiver = { after = [{ name = "r", type = "u4" }] }\n'},
        "receiver.after: found 4 bits more than whole bytes, expected a pad4 too",
    ),
    (
        {"head": 'receiver = { line = "{packet}", after = [{ name = "r", type = "f64" }] }\n'},
        'receiver.line: found "{packet}", expected {r} in it once',
    ),
    (
        {"head": 'receiver = { after_delimiter = [{ name = "r", type = "i8" }] }\n', "framing": '"fixed length"'},
        'receiver.after_delimiter: found it on "fixed length", expected it on "cobs" or "slip" or "rfc 1662"',
    ),
    (
        {"head": 'receiver = { after_delimiter = [{ name = "r", type = "u4" }] }\n'},
        "receiver.after_delimiter: found 4 bits more than whole bytes, expected a pad4 too",
    ),
    (
        {"head": 'receiver = { after_delimiter = [{ name = "x", type = "i8" }] }\n'},
        'receiver.after_delimiter[x].name: found "x", which a field of packet p has already',
    ),
    (
        {"head": 'receiver = { line = "{packet} {r}", before = [{ name = "r", type = "f64" }] }\n'},
        'receiver.line: found {packet} in it on "cobs", expected a line by itself: its numbers in before if',
    ),
    (
        {"head": 'receiver = { line = "RSSI {s}", after = [{ name = "r", type = "f64" }] }\n'},
        "receiver.line: found {s} in it, expected nothing but {r}, {packet} and {}",
    ),
    (
        {"head": 'receiver = { line = "RSSI {r}", after = [{ name = "r", type = "i8" }] }\n'},
        'receiver.after[r].type: found "i8" for a number of a line, expected "f64"',
    ),
    (
        {
            "head": 'receiver = { line = "{r} {s}", before = [{ name = "r", type = "f64" }], '
            'after = [{ name = "s", type = "f64" }] }\n'
        },
        "receiver.after: found it beside before, expected all numbers of the line in one of them",
    ),
    (
        {
            "head": 'receiver = { line = "RSSI {r}", after = [{ name = "r", type = "f64" }], '
            'after_delimiter = [{ name = "s", type = "i8" }] }\n'
        },
        "receiver.after_delimiter: found it beside line, expected every number of the line in after",
    ),
    (
        {
            "head": 'receiver = { line = "RSSI {r}", before = [{ name = "r", type = "f64" }] }\n',
            "framing": '"hexadecimal lines"',
        },
        "receiver.before: found it beside line, expected every number of the line in after",
    ),
    (
        {
            "head": 'receiver = { line = "RSSI {r}", after = [{ name = "r", type = "f64" }] }\n',
            "framing": '"hexadecimal lines"',
        },
        'receiver.line: found "RSSI {r}", expected {packet} in it once',
    ),
]


TWO_FIELDS = '{ name = "x", type = "u8" }, { name = "y", type = "f32" }'
ANOTHER = '{}\n]\n[[telemetry.packet]]\nname = "q"\nrate_hz = 1\nfields = [ {}'
UNTAGGED = {"framing": '"delimited values"', "head": 'id_type = "none"\n', "checksum": '"XOR-8"', "packet": ""}
STREAM_FAULTS += [
    (
        UNTAGGED | {"packet": 'tag = "P"\n'},
        'packet[p].tag: found it with id_type = "none", expected none: a line holds nothing but values',
    ),
    (
        UNTAGGED | {"fields": ANOTHER.format(TWO_FIELDS, '{ name = "a", type = "u8", count = 2 }')},
        'packet[q].fields: found 2 values, as many as packet "p" has, expected another number to tell them apart by',
    ),
    (
        UNTAGGED | {"framing": '"nmea 0183"'},
        'id_type: found "none" on "nmea 0183", where each sentence starts with its address',
    ),
]


@pytest.mark.parametrize(("stream", "says"), STREAM_FAULTS)
def test_fault_of_the_stream_is_told_with_its_key(stream, says):
    assert any(fault.startswith(says) for fault in faults(**stream)), faults(**stream)


def named(rest):
    return f'{{ name = "x", {rest} }}'


FIELD_FAULTS = [
    ('type = "u16", count = 0', "count: found 0, expected a whole number from 1 to 256"),
    ('type = "u16", count = 2, meaning = "pressure", unit = "Pa"', 'meaning: found "pressure" on 2 elements'),
    (
        'type = "u16", count = 2, meanings = ["accel_x"], unit = "m/s^2"',
        "meanings: found 1 meanings, expected",
    ),
    (
        'type = "u16", meanings = ["acel_x"]',
        'meanings[0]: found "acel_x", expected the name of a standard',
    ),
    ('type = "u16", polynomial = [1.0]', "polynomial: found [1.0], expected two or more numbers"),
    ('type = "u16", polynomial = [1.0, 2.0], scale = 3', "scale: found 3.0 beside polynomial, expected one or the"),
    (
        'type = "u16", table = [[1, 2], [1, 3]]',
        "table: found the raw numbers [1.0, 1.0], expected two or more",
    ),
    (
        'type = "u16", table = [[1, 2], [3, 3]], polynomial = [0.0, 1.0]',
        "table: found [[1.0, 2.0], [3.0, 3.0]]",
    ),
    (
        'type = "i32", form = "degrees and minutes", scale = 0.3, unit = "deg"',
        "scale: found 0.3, expected 1, 0.1,",
    ),
    ('type = "i32", form = "degrees and minutes"', 'unit: found no unit, expected "deg"'),
    ('type = "i32", letter = "ns"', 'letter: found "ns", expected it beside form = "degrees and minutes"'),
    (
        'type = "f64", form = "degrees and minutes", unit = "deg", letter = "ns"',
        "found 'ns' for the letter, expected an unsigned field",
    ),
    ('type = "text4", scale = 2', 'scale: found 2.0 on "text4", expected none'),
    (
        'type = "quaternion10", meaning = "pressure"',
        'meaning: found "pressure" on "quaternion10", expected',
    ),
    ('type = "u16", meaning = "attitude"', 'meaning: found "attitude", expected the name of a standard measurement'),
    ('type = "u8", labels = [[256, "on"]]', "labels[0]: found 256, expected a raw number from 0 to 255"),
    ('type = "u12", bits = [{ name = "b", at = 0 }]', 'type: found "u12" on a field with bits, expected whole bytes'),
    ('type = "q40.30"', 'type: found "q40.30", expected u1 to u64'),
    (
        'type = "u16", meaning = "layout_fingerprint"',
        'type: found "u16" for the layout\'s fingerprint, expected "u32"',
    ),
    ('type = "u8", valid = [500, 600]', "valid: found [500.0, 600.0], expected a range that the field can reach"),
    ('type = "u8", table = [[0, 5], [255, 9]], valid = [20, 30]', "valid: found [20.0, 30.0], expected a range that"),
]


@pytest.mark.parametrize(("rest", "says"), FIELD_FAULTS)
def test_fault_of_a_field_is_told_with_its_key(rest, says):
    assert any(says in fault for fault in faults(named(rest))), faults(named(rest))


def test_text_off_whole_bytes_is_refused():
    fields = '{ name = "a", type = "u4" }, { name = "x", type = "text2" }, { name = "s", type = "pad4" }'
    assert faults(fields) == ["packet[p].fields[x]: found text at bit 12 of the body, expected it on whole bytes"]


def test_line_refuses_what_it_cannot_hold():
    found = faults('{ name = "x", type = "u12" }, { name = "y", type = "pad4" }', framing='"key=value"')
    assert (
        'packet[p].fields[x].type: found "u12" in a line of text, expected a number such as u16, i32 or f64' in found
    )


def test_optional_field_needs_something_before_it():
    text = "packet[p].fields[x].optional: found it before anything that every packet has, expected a later field"
    assert text in faults(named('type = "u8", optional = true'), head='id_type = "none"\n')


def test_optional_field_needs_a_framing_that_tells_a_frames_length():
    fields = '{ name = "x", type = "u8" }, { name = "y", type = "u8", optional = true }'
    assert "expected a framing that tells how long each frame is" in faults(fields, framing='"fixed length"')[0]
    assert layout_of(parsed(fields)).packets[0].lengths == (2, 3)


def test_bytes_behind_the_delimiter_and_a_line_beside_packets_are_in_the_layout():
    told = '{ name = "r", type = "f64", unit = "dBm", meaning = "rssi" }'
    line = layout_of(parsed(head=f'receiver = {{ line = "RSSI {{r}}", before = [{told}] }}\n')).envelope
    assert (line.before, line.after, line.line, [f.name for f in line.fields]) == (8, 0, "RSSI {r}", ["r"])
    head = 'receiver = { after = [{ name = "r", type = "i8" }], after_delimiter = [{ name = "s", type = "i16" }] }\n'
    trailing = layout_of(parsed(head=head)).envelope
    assert (trailing.before, trailing.after, trailing.behind) == (0, 3, 2)
    assert [(f.name, f.first_bit) for f in trailing.fields] == [("r", 0), ("s", 8)]


def test_a_checksum_over_the_header_does_not_count_a_line_in_front():
    told = 'receiver = { line = "RSSI {r}", before = [{ name = "r", type = "f64" }] }\n'
    stream = {"framing": SYNC.format("header = 1"), "checksum": '{ kind = "XOR-8", covers = "frame" }'}
    assert layout_of(parsed(head=told, **stream)).checksum_from == layout_of(parsed(**stream)).checksum_from == -3


def test_a_scaled_number_has_the_label_of_its_raw_number():
    labels = 'labels = [[1, "near"], [3, "far"]], scale = 0.1, offset = 5'
    vehicle = parsed(f'{{ name = "x", type = "u8", bits = [{{ name = "d", at = 2, width = 3, {labels} }}] }}')
    labels = sources_of(vehicle)["p.d"].labels
    assert [labels.of(value) for value in (5.1, 5.3, 1, 5.15)] == ["near", "far", None, None]


def test_names_of_columns_texts_and_labels():
    vehicle = parsed(
        '{ name = "a", type = "u16", count = 2 }, { name = "call", type = "text3" },'
        '{ name = "q", type = "quaternion10", meaning = "attitude" },'
        '{ name = "mode", type = "u8", labels = [[0, "pad"], [1, "boost"]], meaning = "vehicle_phase" }',
        head='receiver = { after = [{ name = "rssi", type = "i8", unit = "dBm", meaning = "rssi" }] }\n',
    )
    assert columns_of(vehicle) == {"p": ("a[0]", "a[1]", "q_w", "q_x", "q_y", "q_z", "mode", "rssi")}
    assert texts_of(vehicle) == {"p": ("call",)}
    sources = sources_of(vehicle)
    for name in ("p.mode", "vehicle_phase"):
        labels = sources[name].labels
        assert [labels.of(value) for value in (0, 1, 2, 0.5, float("nan"))] == ["pad", "boost", *[None] * 3]
    assert sources["rssi"].labels.of(0) is None
    assert {name: s.column for name, s in sources_of(vehicle).items() if "." not in name} == {
        **{f"attitude_{part}": f"q_{part}" for part in "wxyz"},
        "vehicle_phase": "mode",
        "rssi": "rssi",
    }


def test_fixed_point_is_scaled_by_its_lowest_bit():
    scales = {
        column.name: column.field.scale
        for column in columns(parsed('{ name = "a", type = "q4.12" }, { name = "b", type = "uq8.8", scale = 2 }'))
    }
    assert scales == {"a": 2.0**-12, "b": 2.0**-7}


def test_reasons_have_words_of_their_own():
    assert len({reason.value for reason in Reason}) == len(Reason)


def test_fault_of_lines_without_a_tag_is_told_with_its_line():
    with pytest.raises(ConfigError) as caught:
        parsed(ANOTHER.format(FIELD, FIELD), **UNTAGGED)
    # the header, framing, checksum, byte order and id type; the first packet's four lines and its end; the second's
    line = FIRST_LINE + 1 + 4 + 6 + 3
    assert [str(fault).split(": ")[0] for fault in caught.value.faults] == [f"v.toml:{line}"]


def test_lines_without_a_tag_are_told_apart_by_the_number_of_their_values():
    one = layout_of(parsed(TWO_FIELDS, **UNTAGGED))
    assert (one.id_bits, one.line_mark) == (0, LineMark.TAG)
    decoded = StreamDecoder(replace(one, checksum="none")).feed(b"\n5,2.5\r\n")
    assert decoded.tables[0].columns["y"].tolist() == [2.5]
    two = layout_of(parsed(ANOTHER.format(TWO_FIELDS, FIELD), **UNTAGGED))
    assert (two.id_bits, two.line_mark) == (8, LineMark.COUNT)
    decoded = StreamDecoder(replace(two, checksum="none")).feed(b"\n5,2.5\r\n6\r\n")
    found = {table.packet.name: {n: c.tolist() for n, c in table.columns.items()} for table in decoded.tables}
    assert found == {"p": {"x": [5], "y": [2.5]}, "q": {"x": [6]}}
