"""What decoding can object to: bytes that are not a frame, and descriptions that cannot be a layout."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from decoders.layout import Reason


class DecodersError(Exception):
    """Base of every exception this package raises on purpose."""


class FrameError(DecodersError, ValueError):
    """One frame's bytes break the rules of its framing or checksum; `offset` is the byte at fault."""

    def __init__(self, message: str, *, offset: int) -> None:
        super().__init__(message)
        self.offset = offset


class LineError(FrameError):
    """A line of text is no packet; `reason` is the reject's."""

    def __init__(self, message: str, *, offset: int, reason: "Reason") -> None:
        super().__init__(message, offset=offset)
        self.reason = reason


class LayoutError(DecodersError, ValueError):
    """A packet layout contradicts itself: `objection` says how, `where` names the packet and field."""

    def __init__(self, message: str, *, where: str) -> None:
        super().__init__(f"{where}: {message}")
        self.where = where
        self.objection = message
