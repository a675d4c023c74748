"""One layout in every binary framing."""

import dataclasses

from decoders.layout import ByteOrder, LengthField, Sync


def in_binary_framings(plain, space):
    """A layout in COBS as it is in each binary framing; `space` is the packet it has as a CCSDS space packet."""
    return {
        "cobs": plain,
        "slip": dataclasses.replace(plain, framing="slip"),
        "rfc 1662": dataclasses.replace(plain, framing="rfc 1662"),
        "sync and length": dataclasses.replace(
            plain, framing="sync", sync=Sync(b"\xa5\x5a", LengthField(8, adds=1), 1)
        ),
        "sync and fixed length": dataclasses.replace(plain, framing="sync", sync=Sync(b"\xeb\x90")),
        "fixed length": dataclasses.replace(plain, framing="fixed length", checksum="CRC-32/ISO-HDLC"),
        "ccsds": dataclasses.replace(plain, framing="ccsds", byte_order=ByteOrder.BIG, id_bits=16, packets=(space,)),
    }
