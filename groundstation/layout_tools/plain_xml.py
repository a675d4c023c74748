"""XML read without trust: no document type, so no entities; bounded in size and depth."""

import xml.etree.ElementTree as ET
from xml.parsers import expat

from groundstation.layout_tools.errors import LayoutToolError

MOST_BYTES = 16 << 20  # a description of thousands of parameters has some megabytes
_DEEPEST = 64


def parsed(data: bytes, *, name: str) -> ET.Element:
    """The document's root; tags carry no namespace.

    Args:
        data: The document.
        name: What messages call it.
    Raises:
        LayoutToolError: It is no XML, has a document type, or is too large or too deep.
    """
    if len(data) > MOST_BYTES:
        raise LayoutToolError(f"has {len(data)} bytes, expected at most {MOST_BYTES}", where=name)
    builder = ET.TreeBuilder()
    parser = expat.ParserCreate(namespace_separator="}")
    depth = 0

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal depth
        depth += 1
        if depth > _DEEPEST:
            raise LayoutToolError(f"is nested more than {_DEEPEST} deep", where=f"{name}:{parser.CurrentLineNumber}")
        builder.start(tag.rpartition("}")[2], attributes)

    def end(tag: str) -> None:
        nonlocal depth
        depth -= 1
        builder.end(tag.rpartition("}")[2])

    def refuse(*_: object) -> None:
        where = f"{name}:{parser.CurrentLineNumber}"
        raise LayoutToolError("has a document type, which is refused: it could pull in other files", where=where)

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = builder.data
    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise LayoutToolError(
            f"is no XML: {expat.ErrorString(error.code)}", where=f"{name}:{error.lineno}"
        ) from error
    except (ValueError, LookupError) as error:  # an encoding that is not known
        if isinstance(error, LayoutToolError):
            raise
        raise LayoutToolError(f"is no XML: {error}", where=name) from error
    root: ET.Element = builder.close()
    return root
