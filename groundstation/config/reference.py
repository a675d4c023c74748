"""Every key of a vehicle file in plain text, read off the models that check the file, so that it cannot go stale."""

import textwrap
from collections.abc import Iterator

from pydantic import BaseModel

from groundstation.config.filetable import FileTable
from groundstation.config.quantities import shown
from groundstation.config.shape import Key, keys_of
from groundstation.config.vehicle import Vehicle
from groundstation.config.wire import WIRE_TYPES
from groundstation.measurements import measurement, names

_WIDTH = 100
_INDENT = " " * 4


def vehicle_reference() -> str:
    """What each key of a vehicle file expects and means, its default and where that comes from; then the meanings."""
    lines = ["Keys of a vehicle file. A quantity is written with its unit; all examples are invented.", ""]
    for heading, table in _tables(Vehicle, ""):
        lines += [heading, *_wrapped(table.__doc__ or "", "")]
        for key in keys_of(table).values():
            lines += _key_lines(key)
        lines.append("")
    lines.append("Types of a field")
    for name, text in WIRE_TYPES.items():
        lines += _wrapped(f"{name}: {text}", _INDENT)
    lines.append("")
    lines.append("Meanings of a field, each with the unit it is turned into")
    for name in names():
        known = measurement(name.replace("_N_", "_1_"))
        assert known is not None
        text = known.text.removesuffix(" 1") + " N" if "_N_" in name else known.text
        lines += _wrapped(f"{name} [{known.unit}]: {text}", _INDENT)
    return "\n".join(lines) + "\n"


def _tables(table: type[FileTable], path: str) -> Iterator[tuple[str, type[FileTable]]]:
    """Each table with its heading, as the file writes it, from the whole file down."""
    yield path and _heading(path), table
    for key in keys_of(table).values():
        if key.kind.table is not None:
            inner = f"{path}.{key.name}" if path else key.name
            yield from _tables(key.kind.table, inner + ("[]" if key.kind.is_list else ""))


def _heading(path: str) -> str:
    name = path.replace("[]", "")
    return f"[[{name}]]" if path.endswith("[]") else f"[{name}]"


def _key_lines(key: Key) -> Iterator[str]:
    yield f"  {key.name}"
    facts = [f"{key.kind}; {_presence(key)}"]
    if key.field.description:
        facts.append(key.field.description)
    extra = key.field.json_schema_extra
    if isinstance(extra, dict) and "source" in extra:
        facts.append(f"source of the default: {extra['source']}")
    for fact in facts:
        yield from _wrapped(fact, _INDENT)


def _presence(key: Key) -> str:
    if key.required:
        return "required"
    default = key.field.get_default()
    if default is None or default == () or isinstance(default, BaseModel) or key.kind.table is not None:
        return "may be left out"
    return f"default {shown(default)}"


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(" ".join(text.split()), _WIDTH, initial_indent=indent, subsequent_indent=indent)
