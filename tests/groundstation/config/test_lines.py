import tomllib
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.config.lines import KeyPath, key_lines
from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE

KEYS = st.sampled_from(
    ["a", "cells", "x-1", "_", "3", "a b", "x.y", "é", "", "#", "]", "=", 'quo"te', "it's", "back\\slash", "[[a]]"]
)
SCALARS = st.one_of(
    st.integers(-(2**60), 2**60),
    st.booleans(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.dates(date(1000, 1, 1)),
    st.sampled_from(
        ["", "text", "# no comment", "]", "}", "=", ",", 'a "quoted" word', "it's", "\\", "two\nlines", '"""', "'''"]
    ),
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=15,
)
DOCUMENTS = st.dictionaries(KEYS, VALUES, max_size=6)


def basic(text: str) -> str:
    for sign, escape in (("\\", "\\\\"), ('"', '\\"'), ("\n", "\\n")):
        text = text.replace(sign, escape)
    return f'"{text}"'


class Writer:
    """Writes data as TOML in styles drawn at random, and notes on which line it put each key."""

    def __init__(self, draw: st.DrawFn) -> None:
        self.draw = draw
        self.text = ""
        self.lines: dict[KeyPath, int] = {}

    def choose(self, *choices: str) -> str:
        return self.draw(st.sampled_from(choices))

    def mark(self, path: KeyPath) -> None:
        self.lines[path] = self.text.count("\n") + 1

    def key(self, key: str) -> str:
        if key and key.isascii() and all(c.isalnum() or c in "-_" for c in key):
            return self.choose(key, f'"{key}"', f"'{key}'")
        return basic(key) if "'" in key else self.choose(basic(key), f"'{key}'")

    def gap(self) -> str:
        return self.choose("", " ", "\n", "\n\n  ", " # a comment ]\n", "\t")

    def scalar(self, value: Any) -> str:
        if not isinstance(value, str):
            return str(value).lower() if isinstance(value, bool) else str(value)
        styles = [basic(value)]
        if "'" not in value and "\n" not in value:
            styles.append(f"'{value}'")
        if "'''" not in value and not value.endswith("'"):
            styles.append(f"'''\n{value}'''")
        if value:
            escaped = value.replace("\\", "\\\\").replace('"', '\\"')
            styles.append(f'"""{escaped}"""')
            styles.append(f'"""\\\n   {escaped}"""' if not value[0].isspace() else basic(value))
        return self.choose(*styles)

    def value(self, value: Any, path: KeyPath) -> None:
        if isinstance(value, dict):
            self.text += "{ "
            for k, (key, item) in enumerate(value.items()):
                self.text += ", " if k else ""
                self.entry(key, item, path)
            self.text += " }"
        elif isinstance(value, list):
            self.text += "["
            for k, item in enumerate(value):
                self.text += self.gap()
                self.mark((*path, k))
                self.value(item, (*path, k))
                self.text += self.gap() + "," if k + 1 < len(value) else self.choose("", ",", "\n,")
            self.text += self.gap() + "]"
        else:
            self.text += self.scalar(value)

    def entry(self, key: str, value: Any, path: KeyPath) -> None:
        self.mark((*path, key))
        self.text += self.key(key) + self.choose("=", " = ")
        self.value(value, (*path, key))

    def dotted(self, key: str, value: dict[str, Any], path: KeyPath) -> None:
        for k, (inner, item) in enumerate(value.items()):
            if k == 0:
                self.mark((*path, key))
            self.mark((*path, key, inner))
            self.text += f"{self.key(key)}{self.choose('.', ' . ')}{self.key(inner)} = "
            self.value(item, (*path, key, inner))
            self.text += "\n"

    def table(self, table: dict[str, Any], path: KeyPath, header: tuple[str, ...]) -> None:
        later = []
        for key, value in table.items():
            if isinstance(value, dict):
                style = self.choose("inline", "header", "dotted" if value else "inline")
            elif isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
                style = self.choose("inline", "array of tables")
            else:
                style = "inline"
            if style == "inline":
                self.entry(key, value, path)
                self.text += self.choose("\n", " # why\n", "\n\n")
            elif style == "dotted":
                self.dotted(key, value, path)
            else:
                later.append((key, value))
        for key, value in later:
            name = ".".join(self.key(part) for part in (*header, key))
            if isinstance(value, dict):
                self.mark((*path, key))
                self.text += f"[{name}]\n"
                self.table(value, (*path, key), (*header, key))
                continue
            self.mark((*path, key))
            for k, item in enumerate(value):
                self.mark((*path, key, k))
                self.text += f"[[ {name} ]] # one of them\n"
                self.table(item, (*path, key, k), (*header, key))


@st.composite
def documents(draw: st.DrawFn) -> tuple[str, dict[str, Any], dict[KeyPath, int]]:
    data = draw(DOCUMENTS)
    writer = Writer(draw)
    writer.text = draw(st.sampled_from(["", "# first\n\n"]))
    writer.table(data, (), ())
    return writer.text, data, writer.lines


def paths(value: Any, path: KeyPath = ()) -> list[KeyPath]:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    found = [path] if path else []
    for key, item in items:
        found += paths(item, (*path, key))
    return found


@settings(max_examples=300, deadline=None)
@given(documents())
def test_every_key_that_tomllib_finds_has_the_line_it_was_written_on(document) -> None:
    text, data, written = document
    assert tomllib.loads(text) == data
    lines = key_lines(text)
    assert lines == written
    assert set(paths(data)) == set(lines)


@settings(max_examples=100, deadline=None)
@given(documents())
def test_line_ends_of_other_systems_change_no_line(document) -> None:
    text, _, written = document
    assert key_lines(text.replace("\n", "\r\n")) == written


@pytest.mark.parametrize("path", [EXAMPLE_VEHICLE, EXAMPLE_STATION], ids=lambda p: p.name)
def test_each_key_of_the_examples_stands_on_its_line(path) -> None:
    text = path.read_text(encoding="utf-8")
    rows = text.split("\n")
    lines = key_lines(text)
    found = paths(tomllib.loads(text))
    assert set(found) == set(lines)
    for key_path in found:
        if isinstance(key_path[-1], str):
            assert key_path[-1] in rows[lines[key_path] - 1]


def test_a_table_named_first_in_a_part_of_it_stands_on_its_own_header() -> None:
    assert key_lines("[a.b]\n[a]\nx = 1\n") == {("a", "b"): 1, ("a",): 2, ("a", "x"): 3}


def test_tables_inside_arrays_of_tables_belong_to_the_newest_element() -> None:
    text = "[[p]]\n[p.q]\nx = 1\n[[p]]\n[[p.r]]\n[[p.r]]\nx.y = 2\n"
    assert key_lines(text) == {
        ("p",): 1,
        ("p", 0): 1,
        ("p", 0, "q"): 2,
        ("p", 0, "q", "x"): 3,
        ("p", 1): 4,
        ("p", 1, "r"): 5,
        ("p", 1, "r", 0): 5,
        ("p", 1, "r", 1): 6,
        ("p", 1, "r", 1, "x"): 7,
        ("p", 1, "r", 1, "x", "y"): 7,
    }


def test_empty_text_has_no_keys() -> None:
    assert key_lines("") == {}
    assert key_lines("# only a comment") == {}
