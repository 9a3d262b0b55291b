"""The direction of imports, read from the code itself, hidden imports included."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "traceanalyze"

#: Rooms from top to bottom; a room may import what stands above it, never below.
ROOMS = (
    "errors", "order", "rounding", "units", "trace", "results", "settings", "comparison", "parsers", "signal", "detect",
    "estimate", "vehicle", "judge", "simulate", "prepare", "session", "sheet", "setups", "book", "plots", "report",
    "library", "__init__", "cli", "__main__",
)  # fmt: skip
#: Rooms that may also be imported from above the line they stand on, with the reason.
EXCEPTIONS = {
    ("cli", "__init__"): "the version number",
    ("report", "__init__"): "the version number",
    ("book", "__init__"): "the version number",
    ("simulate", "__init__"): "the version number",
}
HEAVY = {"pandas", "matplotlib", "scipy", "pynmea2", "gpxpy", "rich", "pyarrow"}


def _modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def _room(path: Path) -> str:
    parts = path.relative_to(PACKAGE).parts
    return parts[0].removesuffix(".py")


def _imports(path: Path, nodes) -> set[str]:
    found = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def _own_rooms(names: set[str]) -> set[str]:
    rooms = set()
    for name in names:
        parts = name.split(".")
        if parts[0] == "traceanalyze":
            rooms.add(parts[1] if len(parts) > 1 and parts[1] in ROOMS else "__init__")
    return rooms


@pytest.mark.parametrize("path", _modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_room_imports_only_what_stands_above_it(path: Path) -> None:
    room = _room(path)
    assert room in ROOMS, f"{room} stands in no place of the house"
    if room == "__init__":
        return  # the front door: it hands out names of every room, lazily
    for other in _own_rooms(_imports(path, ast.walk(ast.parse(path.read_text())))) - {room}:
        allowed = ROOMS.index(other) < ROOMS.index(room) or (room, other) in EXCEPTIONS
        assert allowed, f"{path.relative_to(PACKAGE)} imports {other}, which stands below {room}"


@pytest.mark.parametrize("path", _modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_heavy_packages_are_imported_where_they_are_used(path: Path) -> None:
    tree = ast.parse(path.read_text())
    for name in _imports(path, _always_run(tree)):
        assert name.split(".")[0] not in HEAVY, f"{path.relative_to(PACKAGE)} imports {name} whenever it is loaded"


def _always_run(tree: ast.Module) -> list[ast.stmt]:
    """Statements run on import: the module's own, without those under `if TYPE_CHECKING`."""
    return [node for node in tree.body if not isinstance(node, ast.If)]


@pytest.mark.parametrize("path", _modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_modules_and_functions_stay_short(path: Path) -> None:
    text = path.read_text()
    assert len(text.splitlines()) <= 400, "two rooms in one?"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            assert node.end_lineno - node.lineno <= 70, f"{node.name} is too long to read"


def test_only_the_command_line_prints() -> None:
    for path in _modules():
        if _room(path) in ("cli", "__main__"):
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id != "print", f"{path.relative_to(PACKAGE)} prints"
