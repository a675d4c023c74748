"""Coverage-guided fuzzing of one framing with atheris (the extra `fuzz`), through the one door of the decoders.

    python tests/fuzz/fuzz_framings.py --seconds 600 FRAMING

Every input is a stream. It must decode without an exception, alike whole and cut into pieces, with every byte's place
inside the stream, and what the process holds must not grow: 64 MB more than after the first 10,000 inputs stops the
run. The seconds are processor time. Inputs that reach new code are kept in tests/fuzz/corpus/FRAMING.txt; the
ordinary tests replay them.
"""

import argparse
import contextlib
import dataclasses
import os
import pathlib
import resource
import sys
import tempfile
import time

if __name__ == "__main__":
    import atheris

    instrumented = atheris.instrument_imports(include=["decoders"])
else:
    instrumented = contextlib.nullcontext()
with instrumented:
    from decoders.layout import ByteOrder, Envelope, Field, Layout, LengthField, Packet, Sync, WireKind
    from decoders.packing import FrameEncoder
    from decoders.stream import StreamDecoder

CORPUS = pathlib.Path(__file__).parent / "corpus"
MOST_GROWTH_KB = 64 << 10
PLAIN = Layout(
    "cobs",
    "CRC-8/SMBUS",  # short, so that a fuzzer finds sound frames
    ByteOrder.LITTLE,
    (
        Packet("long", 0x4A, 12, (Field("n", WireKind.UNSIGNED, 16, 8), Field("x", WireKind.FLOAT, 64, 32))),
        Packet("short", 0x15, 4, (Field("n", WireKind.UNSIGNED, 24, 8),)),
    ),
)
LAYOUTS = {
    "cobs": PLAIN,
    "slip": dataclasses.replace(PLAIN, framing="slip"),
    "rfc-1662": dataclasses.replace(PLAIN, framing="rfc 1662"),
    "sync-length": dataclasses.replace(PLAIN, framing="sync", sync=Sync(b"\xa5\x5a", LengthField(8, adds=1), 1)),
    "sync-fixed": dataclasses.replace(PLAIN, framing="sync", sync=Sync(b"\xeb\x90")),
    "fixed-length": dataclasses.replace(PLAIN, framing="fixed length"),
    "ccsds": dataclasses.replace(
        PLAIN,
        framing="ccsds",
        byte_order=ByteOrder.BIG,
        id_bits=16,
        packets=(Packet("space", 0x0923, 15, (Field("n", WireKind.UNSIGNED, 14, 16, container_bits=16),)),),
    ),
    "hexadecimal-lines": dataclasses.replace(PLAIN, framing="hexadecimal lines"),
    "delimited-values": dataclasses.replace(PLAIN, framing="delimited values"),
    "key-value": dataclasses.replace(PLAIN, framing="key=value", checksum="none"),
    "nmea-0183": dataclasses.replace(PLAIN, framing="nmea 0183", checksum="XOR-8"),
}
# what a receiver adds: bytes behind the delimiter, or a line of text beside each frame
RSSI = Field("rssi", WireKind.SIGNED, 8, 0)
SNR = Field("snr", WireKind.FLOAT, 64, 0)
TRAILING = Envelope(0, 2, (RSSI,), behind=2)
IN_FRONT, BEHIND = Envelope(8, 0, (SNR,), "S {snr}"), Envelope(0, 8, (SNR,), "S {snr}")
LAYOUTS |= {
    "cobs-trailing": dataclasses.replace(PLAIN, envelope=TRAILING),
    "slip-trailing": dataclasses.replace(PLAIN, framing="slip", envelope=TRAILING),
    "rfc-1662-trailing": dataclasses.replace(PLAIN, framing="rfc 1662", envelope=TRAILING),
    "cobs-line-behind": dataclasses.replace(PLAIN, envelope=BEHIND),
    "slip-line-in-front": dataclasses.replace(PLAIN, framing="slip", envelope=IN_FRONT),
    "sync-length-line-in-front": dataclasses.replace(LAYOUTS["sync-length"], envelope=IN_FRONT),
    "sync-fixed-line-behind": dataclasses.replace(LAYOUTS["sync-fixed"], envelope=BEHIND),
    "hexadecimal-lines-around": dataclasses.replace(
        PLAIN, framing="hexadecimal lines", envelope=Envelope(0, 8, (SNR,), "HEARD {packet} {snr}")
    ),
}


def seeds(layout):
    """Streams to start from: frames of the layout, text, a torn and a damaged frame."""
    encoder = FrameEncoder(layout)
    around = {field.name: -64.0 for field in layout.envelope.fields}
    frames = [
        encoder.encode(packet.name, dict.fromkeys(packet.columns, number) | around)
        for packet in layout.packets
        for number in (1, 0x0A0D, 0x3C7E)
    ]
    whole = b"".join(frames)
    return [*frames, whole, frames[0] + b"RSSI -80\r\n" + frames[1], whole[3:], whole.replace(b"\x01", b"\x02")]


def outcome(parts):
    """What several calls gave, comparable."""
    rows, rejects = [], []
    for part in parts:
        for table in part.tables:
            columns = [column.tobytes() for column in table.columns.values()]
            size = [len(raw) // len(table) for raw in columns]
            for k, (start, end) in enumerate(zip(table.start.tolist(), table.end.tolist(), strict=True)):
                values = tuple(raw[k * n : (k + 1) * n] for raw, n in zip(columns, size, strict=True))
                rows.append((start, end, table.packet.name, values))
        rejects.extend((r.start, r.end, r.reason, r.text, r.raw) for r in part.rejects)
    return sorted(rows), rejects


def check(layout, data):
    """Decode a stream whole and in pieces; the first byte says how long those are."""
    size, stream = 1 + data[0] % 40 if data else 1, data[1:]
    whole = StreamDecoder(layout)
    parts = [whole.feed(stream), whole.finish()]
    rows, rejects = outcome(parts)
    pieces = StreamDecoder(layout)
    found = [pieces.feed(stream[at : at + size]) for at in range(0, len(stream), size)]
    assert outcome([*found, pieces.finish()]) == (rows, rejects)
    spans = sorted([(row[0], row[1]) for row in rows] + [(reject[0], reject[1]) for reject in rejects])
    at = 0
    for start, end in spans:
        assert at <= start < end <= len(stream), (at, start, end)
        at = end
    for start, _, _, _, raw in rejects:
        assert stream.startswith(raw, start)


def kept(framing):
    """Inputs that earlier runs kept."""
    file = CORPUS / f"{framing}.txt"
    return [bytes.fromhex(line) for line in file.read_text("ascii").split()] if file.exists() else []


def fuzz(framing, seconds, folder):
    """Run in this process, which it ends."""
    layout = LAYOUTS[framing]
    runs, settled = 0, 0

    def one_input(data):
        nonlocal runs, settled
        check(layout, data)
        runs += 1
        spent = time.process_time()
        if runs % 10_000 == 0 or spent >= seconds:
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
            settled = settled or peak
            print(f"{runs} inputs, {spent:.0f} s of processor time, {peak / 1024:.0f} MB", flush=True)
            assert peak - settled < MOST_GROWTH_KB, "memory grows"
        if spent >= seconds:  # libFuzzer's own limit goes by the wall clock, which a busy machine spends elsewhere
            os._exit(0)

    options = ["-max_len=400", "-reload=0"]
    atheris.Setup([sys.argv[0], *options, f"-artifact_prefix={CORPUS}/{framing}-", folder], one_input)
    atheris.Fuzz()


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("framing", choices=LAYOUTS)
    arguments.add_argument("--seconds", type=int, default=600)
    chosen = arguments.parse_args()
    CORPUS.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        inputs = [b"\x02" + seed for seed in seeds(LAYOUTS[chosen.framing])] + kept(chosen.framing)
        for number, data in enumerate(inputs):
            pathlib.Path(folder, str(number)).write_bytes(data)
        process = os.fork()  # atheris ends the process that it runs in
        if process == 0:
            fuzz(chosen.framing, chosen.seconds, folder)
        _, status = os.waitpid(process, 0)
        lines = sorted({file.read_bytes().hex() for file in pathlib.Path(folder).iterdir()} - {""}, key=len)
    (CORPUS / f"{chosen.framing}.txt").write_text("\n".join(lines) + "\n", "ascii")
    sys.exit(os.waitstatus_to_exitcode(status))


if __name__ == "__main__":
    main()
