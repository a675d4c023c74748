"""Checksums by name: what a frame carries to show that its bytes are the ones that were sent."""

import difflib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decoders.crc import CATALOGUE, CrcModel
from decoders.errors import LayoutError

Rows = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Checksum:
    """A number computed from bytes, `size` bytes long in a frame.

    of: the checksum of one message. of_rows: the checksums (n,) of the messages in (n, length) rows.
    """

    name: str
    size: int
    of: Callable[[bytes], int]
    of_rows: Callable[[Rows], NDArray[np.uint64]]


def from_crc(model: CrcModel) -> Checksum:
    """A CRC as a checksum."""
    return Checksum(model.name, model.size, model.engine(), model.of_rows)


def checksum(name: str) -> Checksum:
    """The checksum of that name.

    Raises:
        LayoutError: There is none; the message names the nearest.
    """
    model = CATALOGUE.get(name)
    if model is not None:
        return from_crc(model)
    near = difflib.get_close_matches(name, CATALOGUE, n=3, cutoff=0.5) or ["CRC-16/IBM-3740"]
    raise LayoutError(f"found {name!r}, expected the name of a checksum, such as {', '.join(near)}", where="checksum")
