import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ROOMS = ("decoders", "groundstation", "dashboard")  # each may import itself and those before it
PURE = {
    "binascii", "bisect", "collections", "dataclasses", "difflib", "enum", "functools", "itertools", "math",
    "operator", "re", "struct", "typing", "zlib", "numpy", "decoders",
}  # fmt: skip


def imports(path):
    """The top-level modules a file imports, anywhere in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield node.module.split(".")[0]


def imports_when_loaded(path):
    """As `imports`, without those inside functions."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    inside = {
        id(node)
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef)
        for node in ast.walk(function)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom) and id(node) not in inside:
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else [node.module]
            yield from (name.split(".")[0] for name in names)


def modules(room):
    found = sorted((ROOT / room).rglob("*.py"))
    assert found, room
    return found


def serves_pages(path, name):
    """The one exception, at the edge: a function of a command imports the pages that it serves."""
    return (
        name == "dashboard"
        and path.is_relative_to(ROOT / "groundstation" / "cli")
        and name not in imports_when_loaded(path)
    )


@pytest.mark.parametrize("room", ROOMS)
def test_imports_point_one_way(room):
    forbidden = set(ROOMS[ROOMS.index(room) + 1 :]) | {"tests"}
    breaches = [
        (str(path), name)
        for path in modules(room)
        for name in imports(path)
        if name in forbidden and not serves_pages(path, name)
    ]
    assert breaches == []


def test_decoders_import_nothing_that_reads_a_clock_or_does_io():
    breaches = [(str(path), name) for path in modules("decoders") for name in imports(path) if name not in PURE]
    assert breaches == []
    calls = {"open", "print", "input", "exec", "eval", "__import__"}
    for path in modules("decoders"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in calls, f"{path}:{node.lineno}"


def test_a_forbidden_import_would_be_seen(tmp_path):
    path = tmp_path / "late.py"
    path.write_text("def now():\n    import time\n    from dashboard.pages import pad\n", encoding="utf-8")
    assert list(imports(path)) == ["time", "dashboard"]
    assert list(imports_when_loaded(path)) == []
    path.write_text("import dashboard.app\n", encoding="utf-8")
    assert list(imports_when_loaded(path)) == ["dashboard"]
