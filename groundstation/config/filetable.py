"""What every table of a vehicle file or station file has in common."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from groundstation.config.lines import KeyPath

FOUND = "found"  # the error type under which pydantic carries a table's own faults

Number = Annotated[float, Field(strict=True)]
Count = Annotated[int, Field(strict=True)]
Flag = Annotated[bool, Field(strict=True)]


@dataclass(frozen=True, slots=True)
class Found:
    """Something wrong in a table: the path of the key from the table on, what was found and what was expected."""

    path: KeyPath
    text: str


class FileTable(BaseModel):
    """A table of a file: no key it does not know, no number that is not finite, no change after loading."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
        validate_by_name=False,
        validate_by_alias=True,
    )

    def faults(self) -> Iterator[Found]:
        """What the table's keys, each good by itself, have wrong together."""
        return iter(())

    @model_validator(mode="after")
    def _without_faults(self) -> "FileTable":
        found = tuple(self.faults())
        if found:
            raise PydanticCustomError(FOUND, "{text}", {"text": "; ".join(f.text for f in found), "found": found})
        return self
