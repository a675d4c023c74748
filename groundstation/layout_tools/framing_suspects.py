"""Mistakes of the framing: frames that come out sound when they are taken apart in another way."""

import math
from collections.abc import Iterator
from dataclasses import replace

from decoders.contents import Verdict
from decoders.delimited import Delimited
from decoders.errors import DecodersError, LayoutError
from decoders.framing import framing
from decoders.layout import Sync
from decoders.synchronised import Synchronised
from decoders.trailing import Trailed
from groundstation.layout_tools.hypothesis import Hypothesis, Mistake, by_chance, tried_bits
from groundstation.layout_tools.readings import readings, score
from groundstation.layout_tools.taking import Case

_LENGTH_BITS = 4.0  # that a length is just the one expected
_MOST_EXTRA = 8  # bytes that may stand before or after a frame without being in the description
_STUFFED = ("cobs", "slip", "rfc 1662", "hexadecimal lines")


def sound_bits(case: Case, contents: bytes | None) -> float | None:
    """The evidence that contents are one packet of the layout; None where they are not."""
    if contents is None or case.judge.verdict(contents) is not Verdict.PACKET:
        return None
    body = case.body_of(contents)
    packet = case.packet_of(body)
    if packet is None:
        return None
    size = case.checksum.size
    if size:
        return 8.0 * size
    known = case.layout.id_bits - math.log2(len(case.layout.packets)) if case.layout.id_bits else 0.0
    read = readings(case.description, packet, body, case.layout.byte_order)
    return known + _LENGTH_BITS + score(read)


def framing_suspects(case: Case) -> Iterator[Hypothesis]:
    """Every mistake of the framing that makes a sound packet of these bytes."""
    if isinstance(case.framing, Delimited):
        yield from _twice(case, case.framing)
        yield from _glued(case, case.framing)
        yield from _not_stuffed(case, case.framing)
    if isinstance(case.framing, Synchronised):
        yield from _counts(case, case.framing)
        yield from _word(case, case.framing)
    yield from _other_framing(case)
    yield from _extra(case)


def delimiter_suspects(case: Case) -> Iterator[Hypothesis]:
    """A sound frame after which no delimiter stands."""
    if not isinstance(case.framing, Delimited) or case.taken.is_ended:
        return
    bits = sound_bits(case, case.taken.contents)
    if bits is not None:
        shown = case.framing.delimiter.hex(" ")
        yield Hypothesis(
            Mistake.DELIMITER,
            f"the sender leaves out the delimiter {shown} after the frame",
            (
                f"all {len(case.taken.frame)} bytes together are a sound frame, and no {shown} follows",
                "if the delimiter was only left out when these bytes were copied, all is well",
            ),
            bits,
            f"send {shown} after every frame",
        )


def _evidence(case: Case, bits: float) -> str:
    if case.checksum.size:
        return f"read so, the {case.checksum.name} is right, and so are discriminator and length; {by_chance(bits)}"
    return f"read so, discriminator, length and values fit; {by_chance(bits)}"


def _twice(case: Case, found: Delimited) -> Iterator[Hypothesis]:
    if case.taken.contents is None:
        return
    inner = case.taken.contents
    for candidate in (inner, inner.strip(found.delimiter)):
        again = _unstuffed(found, candidate)
        bits = sound_bits(case, again)
        if bits is not None and again != inner:
            yield Hypothesis(
                Mistake.STUFFED_TWICE,
                f"the sender stuffs the frame twice ({found.name})",
                ("taking the stuffing away once more leaves a sound packet", _evidence(case, bits)),
                bits,
                "stuff the frame once; look for a library or driver that does it too",
            )
            return


def _glued(case: Case, found: Delimited) -> Iterator[Hypothesis]:
    """Several frames without a delimiter between them, in what should be one."""
    data = case.taken.frame
    shown = found.delimiter.hex(" ")
    longest = found.longest(case.judge.longest)
    tried = 0
    for end in range(1, min(len(data) - 1, longest) + 1):
        first = _unstuffed(found, data[:end])
        bits = sound_bits(case, first)
        tried += 1
        if bits is None or case.checksum.size == 0:
            continue
        rest = data[end:]
        second = any(
            sound_bits(case, _unstuffed(found, rest[:stop])) is not None
            for stop in range(1, min(len(rest), longest) + 1)
        )
        total = bits - tried_bits(tried) + (bits - tried_bits(len(rest)) if second else 0.0)
        follows = "another sound frame" if second else f"{len(rest)} more bytes"
        yield Hypothesis(
            Mistake.DELIMITER,
            f"the sender leaves out the delimiter {shown} between frames",
            (f"the first {end} bytes are a sound frame; {follows} follow at once", _evidence(case, total)),
            total,
            f"send {shown} after every frame",
        )
        return


def _not_stuffed(case: Case, found: Delimited) -> Iterator[Hypothesis]:
    data, end = case.data, found.delimiter
    candidates = [data, data.removesuffix(end), data.removeprefix(found.opening).removesuffix(end)]
    for tried, candidate in enumerate(dict.fromkeys(candidates), 1):
        bits = sound_bits(case, candidate)
        if bits is not None and candidate != case.taken.contents:
            bits -= tried_bits(tried)
            yield Hypothesis(
                Mistake.NOT_STUFFED,
                f"the sender does not stuff the frame ({found.name})",
                ("the bytes as they are make a sound packet", _evidence(case, bits)),
                bits,
                f"stuff every frame ({found.name}) before its delimiter",
            )
            return


def _other_framing(case: Case) -> Iterator[Hypothesis]:
    for tried, name in enumerate((n for n in _STUFFED if n != case.layout.framing), 1):
        try:
            other = framing(replace(case.layout, framing=name))
        except LayoutError:  # that cannot have what the receiver adds
            continue
        assert isinstance(other, Delimited)
        for frame in _pieces(other, case.data):
            contents = _unstuffed(other, frame)
            if contents == frame:
                continue  # nothing in it was stuffed, so it says nothing of how it would have been
            head = case.framing.head_size
            bits = sound_bits(case, bytes(head) + contents) if contents is not None and not head else None
            if bits is not None:
                bits -= tried_bits(tried)
                yield Hypothesis(
                    Mistake.OTHER_FRAMING,
                    f"the framing is {name}, not {case.layout.framing}",
                    (f"taken apart as {name} the bytes make a sound packet", _evidence(case, bits)),
                    bits,
                    f'framing = "{name}"',
                )
                break


def _pieces(found: Delimited, data: bytes) -> list[bytes]:
    """The first pieces that a framing would take for frames."""
    if not isinstance(found, Trailed):
        return [part for part in data.split(found.delimiter) if part][:3]
    data = data.lstrip(found.delimiter)
    end = data.find(found.delimiter)
    return [data[: end + 1 + found.behind]] if end >= 0 else []


def _unstuffed(found: Delimited, frame: bytes) -> bytes | None:
    if not frame:
        return None
    try:
        return found.decode(frame)
    except DecodersError:
        return None


def _extra(case: Case) -> Iterator[Hypothesis]:
    """Bytes before or after the packet that the checksum does not cover."""
    contents = case.taken.contents
    if contents is None or isinstance(case.framing, Synchronised):
        return
    tried = 0
    for count in range(1, min(_MOST_EXTRA, len(contents) - 1) + 1):
        for kept, side in ((contents[count:], "before"), (contents[:-count], "after")):
            tried += 1
            bits = sound_bits(case, kept)
            if bits is not None:
                bits -= tried_bits(tried)
                gone = contents[:count] if side == "before" else contents[-count:]
                yield Hypothesis(
                    Mistake.EXTRA_BYTES,
                    f"{_bytes(count)} {side} the packet that the description does not have, and no checksum covers",
                    (f"without {gone.hex(' ')} a sound packet is left", _evidence(case, bits)),
                    bits,
                    "describe them as the receiver's envelope, or have the receiver leave them out",
                )


def _counts(case: Case, found: Synchronised) -> Iterator[Hypothesis]:
    """A length that counts something else than the description says."""
    length, word = found.sync.length, len(found.sync.word)
    if length is None or not case.taken.has_start:
        return
    rest = case.data[len(case.taken.before) :]
    at, size = word + length.at, length.bits // 8
    if len(rest) < at + size:
        return
    orders = (length.byte_order.value, "big" if length.byte_order.value == "little" else "little")
    tried = 0
    for order in orders:
        number = int.from_bytes(rest[at : at + size], "little" if order == "little" else "big")
        for adds, what in _conventions(case, found.sync):
            if adds == length.adds and order == orders[0]:
                continue
            tried += 1
            end = word + adds + number
            if not at + size <= end <= len(rest):
                continue
            bits = sound_bits(case, rest[:end])
            if bits is None:
                continue
            bits -= tried_bits(tried)
            swapped = "" if order == orders[0] else f", sent {order} byte first" if size > 1 else ""
            yield Hypothesis(
                Mistake.LENGTH_COUNT,
                f"the length in the frame counts {what}{swapped}",
                (
                    f"it says {number}; counted so the frame has {end} bytes, and it is sound",
                    _evidence(case, bits),
                ),
                bits,
                f"the length has to be added {adds} to give what follows the sync word (now {length.adds})",
            )
            return


def _conventions(case: Case, sync: Sync) -> list[tuple[int, str]]:
    """What lengths are made to count: how much it takes to make each the bytes behind the sync word."""
    assert sync.length is not None
    head, check, word = sync.header, case.checksum.size, len(sync.word)
    behind = sync.length.at + sync.length.bits // 8
    named = [
        (head + check, "the body alone, without header and checksum"),
        (head, "body and checksum, without the header"),
        (behind, "what follows the length"),
        (check, "header and body, without the checksum"),
        (0, "everything behind the sync word"),
        (-word, "the whole frame with the sync word"),
        (behind + 1, "what follows the length, less one"),
        (head + check + 1, "the body alone, less one"),
        (head + check - case.layout.id_bits // 8, "body and discriminator once more than the description"),
        (head + check + case.layout.id_bits // 8, "the body without its discriminator"),
    ]
    seen = {adds for adds, _ in named}
    off = [(sync.length.adds + n) for k in range(1, 9) for n in (k, -k)]
    named += [
        (adds, f"{abs(adds - sync.length.adds)} bytes {'less' if adds > sync.length.adds else 'more'} than described")
        for adds in off
        if adds not in seen
    ]
    return list({adds: (adds, what) for adds, what in reversed(named)}.values())[::-1]


def _word(case: Case, found: Synchronised) -> Iterator[Hypothesis]:
    """Another sync word, or none."""
    word = found.sync.word
    if not word or case.taken.has_start:
        return
    data = case.data
    for tried, gone in enumerate(range(len(word), -1, -1), 1):
        if gone == len(word):
            candidate, what = word + data, "no sync word is sent"
        else:
            candidate = word + data[len(word) - gone :]
            what = f"the sync word is {data[: len(word) - gone].hex(' ')}, not {word.hex(' ')}"
        bits = sound_bits(case, _cut(case, found, candidate))
        if bits is not None:
            bits -= tried_bits(tried)
            yield Hypothesis(
                Mistake.SYNC_WORD if gone < len(word) else Mistake.DELIMITER,
                what,
                ("with the described one in its place the frame is sound", _evidence(case, bits)),
                bits,
                "send the sync word that the description has, or describe the one that is sent",
            )
            return


def _cut(case: Case, found: Synchronised, data: bytes) -> bytes | None:
    """The frame at the start of some bytes."""
    length, word = found.sync.length, len(found.sync.word)
    if length is None:
        size = case.judge.length_from(data, 0) or 0
    else:
        at = word + length.at
        size = word + length.adds + int.from_bytes(data[at : at + length.bits // 8], length.byte_order.value)
    return data[:size] if 0 < size <= len(data) else None


def _bytes(count: int) -> str:
    return "1 byte" if count == 1 else f"{count} bytes"
