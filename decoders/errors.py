"""What decoding can object to: bytes that are not a frame, and descriptions that cannot be a layout."""


class DecodersError(Exception):
    """Base of every exception this package raises on purpose."""


class FrameError(DecodersError, ValueError):
    """One frame's bytes break the rules of its framing or checksum; `offset` is the byte at fault."""

    def __init__(self, message: str, *, offset: int) -> None:
        super().__init__(message)
        self.offset = offset


class LayoutError(DecodersError, ValueError):
    """A packet layout contradicts itself; `where` names the packet and field."""

    def __init__(self, message: str, *, where: str) -> None:
        super().__init__(f"{where}: {message}")
        self.where = where
