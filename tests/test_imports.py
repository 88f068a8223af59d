"""The house's one rule of layout: data flows one way (docs/design.md). Reads the import graph."""

import ast
from pathlib import Path

SRC = Path(__file__).parent.parent / "src" / "firstglow"
# room -> rooms it may import (HOUSE.md's table, read transitively)
MAY = {
    "quantities": set(),
    "records": set(),
    "markings": {"quantities"},
    "amplifier": {"quantities"},
    "devices": {"quantities"},
    "solver": {"quantities", "amplifier", "devices"},
    "readings": {"quantities", "markings", "amplifier", "devices", "solver"},
    "windings": {"quantities", "amplifier", "readings"},
    "ladder": {"quantities", "records", "amplifier", "devices", "solver", "readings"},
    "audit": {"quantities", "markings", "amplifier", "devices", "solver", "readings"},
    "sheets": {"quantities", "records", "amplifier", "devices", "solver", "readings", "ladder", "audit"},
    "accuracy": {"quantities", "amplifier", "devices", "solver", "readings"},
    "cli": {
        "quantities",
        "records",
        "amplifier",
        "devices",
        "solver",
        "readings",
        "ladder",
        "sheets",
        "windings",
        "markings",
        "accuracy",
        "audit",
        "schemas",
    },
    "schemas": set(),
}


def imports(path: Path) -> set[str]:
    """Rooms of firstglow that a file imports, anywhere in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module] + [f"{node.module}.{a.name}" for a in node.names]
        for name in names:
            if name.startswith("firstglow."):
                found.add(name.split(".")[1])
    return found & set(MAY)


def test_nothing_lower_imports_anything_higher() -> None:
    wrong = []
    for path in sorted(SRC.rglob("*.py")):
        room = path.relative_to(SRC).parts[0].removesuffix(".py")
        if room in MAY:
            wrong += [f"{path.relative_to(SRC)} imports {r}" for r in imports(path) - MAY[room] - {room}]
    assert not wrong, wrong


def test_every_room_is_in_the_table() -> None:
    rooms = {
        p.name.removesuffix(".py")
        for p in SRC.iterdir()
        if p.name not in {"__init__.py", "__pycache__", "py.typed", "__main__.py", "api.py"}
    }
    assert rooms <= set(MAY), rooms - set(MAY)
