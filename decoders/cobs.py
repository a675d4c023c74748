"""Consistent Overhead Byte Stuffing: a run of bytes without any zero, so that a zero can end a frame.

One block in, one block out, delimiters not included: splitting a stream at its zeros is left to
`decoders.framing`, and whether the contents make sense to the checksum.

Source: S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2), 1999.
"""

from collections.abc import Sequence

from decoders.errors import FrameError

FULL_BLOCK = 0xFF  # 254 bytes follow this code, and no zero after them


def longest(contents: int) -> int:
    """Length of the longest encoding of that many bytes, delimiter not included.

    One code for each 254 bytes begun, and one more for encoders that close a full last block with an empty one.
    """
    return contents + contents // 254 + 1


def encode(contents: bytes) -> bytes:
    """The contents without any zero; a full last block is not followed by an empty one.

    Args:
        contents: Any bytes.
    Returns:
        `len(contents) + 1` to `len(contents) + max(1, ceil(len(contents) / 254))` bytes from 1 to 255.
    """
    encoded = bytearray()
    runs = contents.split(b"\0")
    for number, run in enumerate(runs):
        while len(run) >= FULL_BLOCK - 1:
            block, run = run[: FULL_BLOCK - 1], run[FULL_BLOCK - 1 :]
            encoded += b"\xff" + block
            if not run and number == len(runs) - 1:
                return bytes(encoded)
        encoded.append(len(run) + 1)
        encoded += run
    return bytes(encoded)


def decode(block: bytes) -> bytes:
    """The contents of one block.

    Contents that end in 254 bytes without a zero are accepted both with and without an empty block after them: the
    listing printed in the paper writes one, common encoders do not.

    Raises:
        FrameError: The block is empty, holds a zero, or ends inside a run; the offset counts from the block's start.
    """
    if not block:
        raise FrameError("found an empty block, expected at least one code byte", offset=0)
    zero = block.find(0)
    if zero >= 0:
        raise FrameError(f"found a zero at byte {zero}, expected none inside a block", offset=zero)
    contents = bytearray()
    place, end = 0, len(block)
    while place < end:
        code = block[place]
        following = place + code
        if following > end:
            raise FrameError(
                f"found the code {block[place]} at byte {place}, expected at most {end - place}, the bytes left",
                offset=place,
            )
        contents += block[place + 1 : following]
        if code != FULL_BLOCK and following < end:
            contents.append(0)
        place = following
    return bytes(contents)


def decode_each(blocks: Sequence[bytes]) -> list[bytes | None]:
    """The contents of many blocks, None for those that `decode` refuses: the same in less time."""
    found: list[bytes | None] = []
    has_zeros = 0 in b"".join(blocks)
    for block in blocks:
        end = len(block)
        if has_zeros or not 0 < end < FULL_BLOCK:
            try:
                found.append(decode(block))
            except FrameError:
                found.append(None)
            continue
        # no room for a full block: every code byte but the first stands for a zero
        contents = bytearray(block)
        place = block[0]
        while place < end:
            contents[place] = 0
            place += block[place]
        del contents[0]
        found.append(bytes(contents) if place == end else None)
    return found
