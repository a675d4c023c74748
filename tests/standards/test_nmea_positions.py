"""Positions of NMEA 0183 sentences, described in a vehicle file, against pynmeagps and by hand.

Sources: NMEA 0183 (IEC 61162-1), sentence GGA; the first sentence is the widely printed example of it.
"""

import numpy as np
import pynmeagps
import pytest

from decoders.stream import StreamDecoder
from groundstation.config.load import EXAMPLE_VEHICLE, parse_vehicle
from groundstation.config.telemetry import layout_of

SENTENCES = [
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    "$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M,,*47",
    "$GPGGA,,,,,,0,00,99.99,,,,,,*48",
]
POSITION = 'type = "f64", unit = "deg", form = "degrees and minutes"'
VEHICLE = (
    EXAMPLE_VEHICLE.read_text(encoding="utf-8").split("[telemetry]")[0]
    + """\
[telemetry]
framing = "nmea 0183"
checksum = "XOR-8"
byte_order = "little"
[[telemetry.packet]]
name = "position"
tag = "GGA"
rate_hz = 1
fields = [
  { name = "time", type = "f64" },
  { name = "lat", POSITION, letter = "ns", meaning = "gnss_latitude" },
  { name = "ns", type = "f32" },
  { name = "lon", POSITION, letter = "ew", meaning = "gnss_longitude" },
  { name = "ew", type = "f32" },
  { name = "quality", type = "u8", meaning = "gnss_fix", labels = [[0, "none"], [1, "alone"], [2, "corrected"]] },
  { name = "used", type = "u8", meaning = "gnss_satellites" },
  { name = "hdop", type = "f32", meaning = "gnss_hdop" },
  { name = "height", type = "f64", unit = "m", meaning = "gnss_height" },
  { name = "more", type = "f32", count = 5 },
]
"""
)


@pytest.fixture(scope="module")
def layout():
    return layout_of(parse_vehicle(VEHICLE.replace("POSITION", POSITION), file_name="position.toml"))


def positions(layout, lines):
    decoded = StreamDecoder(layout).feed("".join(f"{line}\r\n" for line in ["", *lines]).encode())
    assert decoded.rejects == ()
    return decoded.tables[0].columns


def test_published_sentences_give_the_positions_of_pynmeagps(layout):
    columns = positions(layout, SENTENCES)
    parsed = [pynmeagps.NMEAReader.parse(line) for line in SENTENCES[:2]]
    for name, attribute in (("lat", "lat"), ("lon", "lon")):
        degrees = np.degrees(columns[name])
        assert degrees[:2].tolist() == pytest.approx([getattr(p, attribute) for p in parsed], abs=1e-8)
        assert np.isnan(degrees[2])
    # by hand: 48 degrees 7.038 minutes, 11 degrees 31 minutes
    assert np.degrees(columns["lat"][0]) == pytest.approx(48 + 7.038 / 60, abs=1e-12)
    assert np.degrees(columns["lon"][0]) == pytest.approx(11 + 31 / 60, abs=1e-12)
    assert columns["height"].tolist() == pytest.approx([545.4, 1113.0, np.nan], nan_ok=True)
    assert columns["quality"].tolist() == [1, 1, 0]


def test_a_thousand_random_positions_are_those_of_pynmeagps(layout):
    rng = np.random.default_rng(7)
    lines, lats, lons = [], rng.uniform(-89.9, 89.9, 1000), rng.uniform(-179.9, 179.9, 1000)
    for lat, lon in zip(lats, lons, strict=True):
        message = pynmeagps.NMEAMessage(
            "GN", "GGA", pynmeagps.GET, lat=lat, NS="N" if lat >= 0 else "S", lon=lon, EW="E" if lon >= 0 else "W",
            quality=1, numSV=9, HDOP=1.1, alt=100.0, sep=40.0,
        )  # fmt: skip
        lines.append(message.serialize().decode().strip())
    columns = positions(layout, lines)
    parsed = [pynmeagps.NMEAReader.parse(line) for line in lines]
    assert np.allclose(np.degrees(columns["lat"]), [p.lat for p in parsed], rtol=0, atol=2e-8)
    assert np.allclose(np.degrees(columns["lon"]), [p.lon for p in parsed], rtol=0, atol=2e-8)
    assert np.allclose(np.degrees(columns["lat"]), lats, rtol=0, atol=1e-6)
