"""Columns of packets and of what a receiver has put around them, read together: for single rows and for whole tiles.

Rows are whole contents of one length. To the fast way (`decoders.tiles`) the receiver's numbers are more readings
from the same rows, so that whole recordings with RSSI and SNR take it too.
"""

from collections.abc import Sequence
from dataclasses import replace

from decoders.columns import Column, ColumnReader, Reading, RowReader
from decoders.contents import Contents
from decoders.envelope import EnvelopeReader
from decoders.layout import Envelope, Layout


class EnvelopedReader:
    """As `ColumnReader`, the receiver's columns after the packet's.

    Args:
        packet: Reads the packet's columns.
        envelope: Reads the receiver's.
        row_length: Bytes in a row.
    """

    def __init__(self, packet: ColumnReader, envelope: EnvelopeReader, *, row_length: int) -> None:
        self._packet = packet
        self._envelope = envelope
        self._row_length = row_length
        around = (replace(r, start=envelope.place(r.start, row_length)) for r in envelope.columns.readings)
        self.readings: tuple[Reading, ...] = (*packet.readings, *around)
        self.is_plain = packet.is_plain and envelope.columns.is_plain

    def read(self, rows: bytes) -> dict[str, Column]:
        """The columns of rows that lie one after the other."""
        return self._packet.read(rows) | self._envelope.read(rows, self._row_length)

    def assembled(self, numbers: Sequence[Column], count: int) -> dict[str, Column]:
        """The columns, from what each of `readings` gave for `count` packets."""
        split = len(self._packet.readings)
        around = self._envelope.columns.assembled(numbers[split:], count)
        return self._packet.assembled(numbers[:split], count) | around


def readers_of(layout: Layout, contents: Contents, head_size: int) -> list[dict[int, RowReader]]:
    """What reads the columns of each kind of packet, by the length of its contents; `head_size` as the framing's."""
    envelope = layout.envelope
    around = EnvelopeReader(layout, contents) if envelope.fields else None
    size = head_size + contents.checksum.size + envelope.before + envelope.after
    readers: list[dict[int, RowReader]] = []
    for packet in layout.packets:
        by_length: dict[int, RowReader] = {}
        for length in packet.lengths:
            row = size + length
            reader = ColumnReader(
                packet, layout.byte_order, row_length=row, body_at=contents.body_at, body_length=length
            )
            by_length[row] = reader if around is None else EnvelopedReader(reader, around, row_length=row)
        readers.append(by_length)
    return readers


def is_in_one_run(envelope: Envelope) -> bool:
    """Whether no number of the envelope begins in front of the packet and ends behind it."""
    return not any(item.first_bit < 8 * envelope.before < item.first_bit + item.span for item in envelope.fields)
