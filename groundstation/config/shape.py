"""What keys a table may have and what each expects, read off the models: messages and the reference both speak it."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, MinLen
from pydantic.fields import FieldInfo

from groundstation.config.filetable import FileTable
from groundstation.config.lines import KeyPath
from groundstation.config.quantities import Quantity, shown


@dataclass(frozen=True, slots=True)
class OrName:
    """Marks a table that the file may also write as a name alone, where the name says it all."""

    example: str


@dataclass(frozen=True, slots=True)
class Kind:
    """What a key's value must be: its type, and what is asked of it besides."""

    type: Any
    marks: tuple[object, ...] = ()

    @property
    def table(self) -> type[FileTable] | None:
        """The table the value is, or is a list of; None for any other value."""
        of = self.type
        if get_origin(of) is tuple:
            of = get_args(of)[0]
        return of if isinstance(of, type) and issubclass(of, FileTable) else None

    @property
    def is_list(self) -> bool:
        """Whether the value is a list."""
        return get_origin(self.type) is tuple

    def element(self, place: int) -> "Kind":
        """What the element at `place` of a list must be."""
        args = get_args(self.type)
        return _kind(args[0] if args[-1] is Ellipsis else args[min(place, len(args) - 1)], ())

    def __str__(self) -> str:
        """As a message says it: "a number with a unit such as "850 g", more than 0"."""
        return self._text() + "".join(self._bounds())

    def _text(self) -> str:
        if quantity := next((m for m in self.marks if isinstance(m, Quantity)), None):
            return f'a number with a unit such as "{quantity.example}"'
        if self.is_list:
            return self._list_text()
        if self.table is not None:
            name = next((m for m in self.marks if isinstance(m, OrName)), None)
            return "a table" if name is None else f'a name such as "{name.example}", or a table'
        if get_origin(self.type) is Literal:
            return " or ".join(shown(choice) for choice in get_args(self.type))
        if issubclass(self.type, StrEnum):
            return " or ".join(shown(choice.value) for choice in self.type)
        return {
            bool: "true or false",
            int: "a whole number",
            float: "a number without a unit",
            str: "text in quotes",
        }[self.type]

    def _list_text(self) -> str:
        args = get_args(self.type)
        if self.table is not None:
            return "one or more tables" if any(isinstance(m, MinLen) for m in self.marks) else "tables"
        each = str(self.element(0))
        if args[-1] is Ellipsis:
            return f"a list, each {each}"
        kinds = {str(self.element(k)) for k in range(len(args))}
        return f"a list of {len(args)}: " + (
            f"each {each}" if len(kinds) == 1 else " and ".join(str(self.element(k)) for k in range(len(args)))
        )

    def _bounds(self) -> Iterator[str]:
        low = next((m for m in self.marks if isinstance(m, (Gt, Ge))), None)
        high = next((m.le for m in self.marks if isinstance(m, Le)), None)
        if isinstance(low, Ge) and high is not None:
            yield f" from {low.ge} to {high}"
            return
        if low is not None:
            yield f", more than {low.gt}" if isinstance(low, Gt) else f", at least {low.ge}"
        if high is not None:
            yield f", at most {high}"


@dataclass(frozen=True, slots=True)
class Key:
    """A key of a table: what the file calls it, what its value must be, and what it says."""

    name: str
    kind: Kind
    field: FieldInfo

    @property
    def required(self) -> bool:
        """Whether the table must have it."""
        return self.field.is_required()


def keys_of(table: type[FileTable]) -> dict[str, Key]:
    """Every key a table may have, in order, by the name the file gives it."""
    keys = {}
    for attribute, field in table.model_fields.items():
        name = field.alias or attribute
        keys[name] = Key(name, _kind(field.annotation, tuple(field.metadata)), field)
    return keys


def kind_at(table: type[FileTable], path: KeyPath) -> Kind | None:
    """What is expected at `path`; None where no such key exists."""
    kind = Kind(table)
    for step in path:
        if isinstance(step, int):
            if not kind.is_list:
                return None
            kind = kind.element(step)
        elif kind.is_list or kind.table is None or step not in keys_of(kind.table):
            return None
        else:
            kind = keys_of(kind.table)[step].kind
    return kind


def _kind(annotation: Any, marks: tuple[object, ...]) -> Kind:
    """The kind without the None of an optional key, and with the marks that stand inside the annotation."""
    while True:
        if get_origin(annotation) is Annotated:
            annotation, *more = get_args(annotation)
            flat = [mark for m in more for mark in (m.metadata if isinstance(m, FieldInfo) else [m])]
            marks = (*flat, *marks)
        elif get_origin(annotation) in (Union, UnionType):
            annotation = next(a for a in get_args(annotation) if a is not NoneType)
        else:
            return Kind(annotation, marks)
