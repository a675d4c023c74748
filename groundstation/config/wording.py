"""What validation objects to, in words that belong to the file: what was found, what was expected, and where."""

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from groundstation.config.filetable import FOUND, FileTable, Found
from groundstation.config.lines import KeyPath
from groundstation.config.quantities import shown
from groundstation.config.shape import keys_of, kind_at
from groundstation.config.spelling import nearest_word

_BEFORE_OWN_TEXT = "Value error, "  # pydantic's words before the text of a ValueError


def found_in(model: type[FileTable], data: Mapping[str, Any]) -> list[Found]:
    """Every fault of `data` as a `model`.

    A key that is missing is not reported where a misspelt one stands for it: that is one fault, not two.
    """
    try:
        model.model_validate(data)
    except ValidationError as error:
        details = error.errors(include_url=False)
    else:
        return []
    found = []
    stood_for: set[KeyPath] = set()
    for detail in details:
        if detail["type"] == "extra_forbidden":
            path = detail["loc"]
            meant = _meant(model, data, path)
            stood_for |= set() if meant is None else {(*path[:-1], meant)}
            found.append(Found(path, _unknown_key_text(model, path, meant)))
    for detail in details:
        if detail["type"] == "extra_forbidden" or (detail["type"] == "missing" and detail["loc"] in stood_for):
            continue
        found.extend(_reworded(model, data, detail))
    return found


def key_text(data: Mapping[str, Any], path: KeyPath) -> str:
    """A path as a message shows it: elements of a list by their name where they have one, else counted from 0."""
    text = ""
    value: Any = data
    for step in path:
        value = _step(value, step)
        if isinstance(step, str):
            text += f".{step}" if text else step
        else:
            name = value.get("name") if isinstance(value, dict) else None
            text += f"[{name if isinstance(name, str) else step}]"
    return text


def line_of(lines: Mapping[KeyPath, int], path: KeyPath) -> int | None:
    """The line of a key, or of the nearest table around it where the key itself is not in the file."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


def _reworded(model: type[FileTable], data: Mapping[str, Any], detail: ErrorDetails) -> Iterator[Found]:
    path = detail["loc"]
    if detail["type"] == FOUND:
        for inner in detail["ctx"]["found"]:
            yield Found((*path, *inner.path), inner.text)
        return
    if detail["type"] == "value_error":
        yield Found(path, detail["msg"].removeprefix(_BEFORE_OWN_TEXT))
        return
    if detail["type"] == "missing" and isinstance(path[-1], int):
        path = path[:-1]  # a list that is too short
    kind = kind_at(model, path)
    found = "no such key" if detail["type"] == "missing" and path == detail["loc"] else shown(_value_at(data, path))
    yield Found(path, f"found {found}, expected {kind}")


def _meant(model: type[FileTable], data: Mapping[str, Any], path: KeyPath) -> str | None:
    """The key that an unknown one was most likely meant to be, of those its table does not have yet."""
    present = _value_at(data, path[:-1])
    return nearest_word(str(path[-1]), [key for key in _known(model, path) if key not in present])


def _unknown_key_text(model: type[FileTable], path: KeyPath, meant: str | None) -> str:
    if meant is not None:
        return f'found a key that is not known; did you mean "{meant}"?'
    return f"found a key that is not known, expected one of {', '.join(_known(model, path))}"


def _known(model: type[FileTable], path: KeyPath) -> list[str]:
    kind = kind_at(model, path[:-1])
    return [] if kind is None or kind.table is None else list(keys_of(kind.table))


def _value_at(data: Mapping[str, Any], path: KeyPath) -> Any:
    value: Any = data
    for step in path:
        value = _step(value, step)
    return value


def _step(value: Any, step: str | int) -> Any:
    """One step down; None where there is nothing."""
    if isinstance(step, str):
        return value.get(step) if isinstance(value, dict) else None
    return value[step] if isinstance(value, list) and step < len(value) else None
