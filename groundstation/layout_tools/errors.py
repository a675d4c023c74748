"""What the layout's tools object to."""

from groundstation.errors import GroundstationError


class LayoutToolError(GroundstationError, ValueError):
    """A layout holds what a tool cannot express, or a document what a layout cannot; `where` names the place."""

    def __init__(self, message: str, *, where: str) -> None:
        super().__init__(f"{where}: {message}")
        self.where = where
