# ruff: noqa: INP001 (a script)
"""Writes docs/file.md and the JSON Schema of the amplifier file from the attribute tables.

python tools/make_docs.py            writes both
python tools/make_docs.py --check    exit status 1 if either is out of date
"""

import json
import sys
from pathlib import Path

from firstglow.amplifier.describe import example_table, fault_table, kind_tables
from firstglow.amplifier.schema import file_schema
from firstglow.amplifier.schema_asides import chart_keys, intake_keys

ROOT = Path(__file__).parent.parent
GUIDE = Path(__file__).parent / "file_guide.md"
DOCS = ROOT / "docs" / "file.md"
SCHEMA = ROOT / "src" / "firstglow" / "schemas" / "amplifier-file.json"


def made() -> dict[Path, str]:
    """What each file should hold."""
    text = GUIDE.read_text(encoding="utf-8")
    examples = sorted((ROOT / "examples").glob("*.toml")) + sorted((ROOT / "examples").glob("*/*.toml"))
    tables = {
        "faults": fault_table(),
        "kinds": kind_tables(),
        "examples": example_table(examples),
        "chart": chart_keys(),
        "intake": intake_keys(),
    }
    for mark, table in tables.items():
        text = text.replace(f"<!-- {mark} -->", table)
    return {DOCS: text, SCHEMA: json.dumps(file_schema(), indent=1, ensure_ascii=False) + "\n"}


def main() -> int:
    """Write or compare."""
    old = [p for p, text in made().items() if not p.exists() or p.read_text(encoding="utf-8") != text]
    if "--check" in sys.argv:
        sys.stderr.writelines(f"{p} is out of date: python tools/make_docs.py\n" for p in old)
        return bool(old)
    for path, text in made().items():
        path.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
