"""What every table of a vehicle file or station file has in common."""

from pydantic import BaseModel, ConfigDict


class FileTable(BaseModel):
    """A table of a file: no key it does not know, no number that is not finite, no change after loading."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
        validate_by_name=False,
        validate_by_alias=True,
    )
