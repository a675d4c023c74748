"""Every key of a vehicle file, read off the models that check the file, so that the two cannot differ."""

from collections.abc import Iterator

from pydantic import BaseModel

from groundstation.config.filetable import FileTable
from groundstation.config.quantities import shown
from groundstation.config.shape import Key, keys_of
from groundstation.config.vehicle import Vehicle
from groundstation.measurements import measurement, names


def key_lines() -> Iterator[str]:
    """Every key with what it takes, whether it must be there, and what it is; then the meanings a field may have."""
    yield "The keys of a vehicle file. A value with a unit is written as text; any unit of its kind will do."
    yield from _table_lines(Vehicle, "")
    yield ""
    yield "Meanings a field may have (N: number of a pyro channel), and the unit each has inside:"
    for name in names():
        known = measurement(name.replace("N", "1"))
        assert known is not None
        yield f"  {name:<24} {known.unit:<8} {known.text.removesuffix(' 1')}"


def _table_lines(table: type[FileTable], place: str) -> Iterator[str]:
    yield ""
    yield f"[{place}]" if place else "(before any table)"
    deeper: list[tuple[type[FileTable], str]] = []
    for key in keys_of(table).values():
        inner = key.kind.table
        if inner is not None:
            deeper.append((inner, f"{place}.{key.name}" if place else key.name))
            yield f"  {key.name:<22} {key.kind}; {_need(key)}; see below"
            continue
        text = key.field.description or ""
        yield f"  {key.name:<22} {text}" if text else f"  {key.name}"
        yield f"  {'':<22}   {key.kind}; {_need(key)}"
    for inner, inner_place in deeper:
        yield from _table_lines(inner, inner_place)


def _need(key: Key) -> str:
    if key.required:
        return "needed"
    default = key.field.get_default(call_default_factory=True, validated_data={})
    if default is None or default == () or isinstance(default, BaseModel):
        return "may be left out"
    extra = key.field.json_schema_extra
    source = extra.get("source") if isinstance(extra, dict) else None
    return f"if left out {shown(default)}" + (f" ({source})" if source else "")
