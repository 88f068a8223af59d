"""The attribute and fault tables, and what is generated from them: docs/file.md and the JSON Schema."""

import datetime as dt
import re
import subprocess
import sys
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from firstglow import schemas
from firstglow.amplifier import AmplifierError, all_faults, load, load_bench
from firstglow.amplifier.attributes import kinds
from firstglow.amplifier.defaults import RULES, SAID_BY
from firstglow.amplifier.faults import FAULTS
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit

ROOT = Path(__file__).parents[2]
FILES = sorted((ROOT / "examples").rglob("*.toml")) + sorted((ROOT / "tests" / "data").glob("linden*.toml"))
DOCS = (ROOT / "docs" / "file.md").read_text(encoding="utf-8")
SCHEMA = schemas.load("amplifier-file")
# the kinds of docs/design.md
KINDS = (
    "resistor",
    "capacitor",
    "pot",
    "choke",
    "diode",
    "valve",
    "rectifier",
    "heater",
    "transformer",
    "output transformer",
    "fuse",
    "switch",
    "inlet",
    "input",
    "load",
    "wire",
    "supply",
    "gas tube",
    "lamp",
)


def plain(value: Any) -> Any:
    """TOML data as JSON data."""
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    if isinstance(value, list):
        return [plain(v) for v in value]
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    return float(value) if isinstance(value, Decimal) else value


def test_every_kind_of_the_design_is_in_both_tables() -> None:
    assert set(kinds()) == set(KINDS)
    assert set(FAULTS) == set(KINDS)


def test_rows_are_whole() -> None:
    for kind in kinds().values():
        for name, row in kind.attributes.items():
            assert row.name == name
            assert row.low <= row.high
            assert row.text
            if isinstance(row.default, str):
                assert row.default in RULES
                assert row.default in SAID_BY
            elif row.default is not None:
                assert row.low <= row.default <= row.high, (kind.name, name)
                assert (row.shape == "exact") == (row.spread == 0), (kind.name, name)
        assert set(kind.unnamed) <= set(kind.attributes)
        units = [kind.attributes[n].unit for n in kind.unnamed]
        assert len(set(units)) == len(units), kind.name


def test_every_resistor_capacitor_pot_choke_and_winding_takes_open_and_shorted() -> None:
    for file in FILES:
        amplifier = load(file)
        modes: dict[str, set[str]] = {}
        for case in all_faults(amplifier):
            modes.setdefault(case.part, set()).add(case.mode)
        for part in amplifier.of_kind("resistor", "capacitor", "pot", "choke"):
            assert {"open", "shorted"} <= modes[part.name]
        for part in amplifier.of_kind("transformer", "output transformer"):
            for winding in part.windings:
                assert {f"{winding.name} open", f"{winding.name} shorted"} <= modes[part.name]


def test_every_value_that_the_solution_uses_is_there() -> None:
    for file in FILES:
        for part in load(file).parts.values():
            for row in kinds()[part.kind].attributes.values():
                if row.role != "rating" and row.used != "not used yet":
                    assert row.name in part.values, (part.name, row.name)
                    assert row.low <= part.values[row.name].value <= row.high
            assert set(part.values) <= set(kinds()[part.kind].attributes)


def test_docs_and_schema_are_what_the_tables_make() -> None:
    done = subprocess.run(
        [sys.executable, "tools/make_docs.py", "--check"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("file", FILES, ids=[f.name for f in FILES])
def test_examples_fit_the_schema(file: Path) -> None:
    jsonschema.validate(plain(tomllib.loads(file.read_text(encoding="utf-8"))), SCHEMA)


@pytest.mark.parametrize(
    "text",
    [
        "format = 2\namplifier = { name = 'x' }\n",
        "amplifier = { name = 'x' }\n",
        "format = 1\n",
        "format = 1\namplifier = { name = 'x', colour = 1 }\n",
        "format = 1\namplifier = { name = 'x' }\n[parts]\nR1 = 3\n",
        "format = 1\namplifier = { name = 'x' }\n[parts]\nR1 = ['220k', 3]\n",
        "format = 1\namplifier = { name = 'x' }\n[[chart]]\n",
        "format = 1\namplifier = { name = 'x' }\n[[layer]]\nkind = 'dreamt'\n",
        "format = 1\namplifier = { name = 'x' }\n[parts]\n'R 1' = '220k'\n",
        "format = 1\namplifier = { name = 'x' }\n[parts]\nR1 = ['1k', 'a', 'b', { test = 1 }]\n",
    ],
)
def test_what_the_schema_refuses_the_reader_refuses(text: str) -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(plain(tomllib.loads(text)), SCHEMA)
    with pytest.raises(AmplifierError):
        load(text)


def blocks() -> list[str]:
    return re.findall(r"```toml\n(.*?)```", DOCS, re.DOTALL)


def test_the_first_file_of_the_docs_reads() -> None:
    first = blocks()[0]
    amplifier = load(first)
    assert {"V1", "V2", "V1 plate R", "V1 screen C"} <= set(amplifier.parts)


def test_every_block_of_the_docs_is_toml_and_the_bench_file_reads() -> None:
    for block in blocks():
        tomllib.loads(block)
    bench = next(b for b in blocks() if "variable_transformer" in b)
    assert load_bench(bench).words["valve"] == "tube"


def test_two_in_series_as_the_docs_write_them_stand_at_half_the_volts_each() -> None:
    """By hand: 68 uF and 68 uF in series are 34 uF; two equal resistors halve what stands across both (Ohm's law)."""
    layer = next(b for b in blocks() if '"C1 -" = "HT half"' in b)
    amplifier = load(blocks()[0] + layer)
    upper, lower = amplifier.parts["C1"], amplifier.parts["C1b"]
    assert (upper.leads["+"], upper.leads["-"], lower.leads["+"]) == ("HT", "HT half", "HT half")
    both = 1.0 / (1.0 / upper.value("farads") + 1.0 / lower.value("farads"))
    assert both == pytest.approx(34e-6) and lower.leads["-"] == "chassis"
    circuit = compile_circuit(amplifier)
    stands = circuit.solve(circuit.vector(Situation(230.0))[:, None])
    assert float(stands.dc("HT")[0]) > 200.0
    assert float(stands.dc("HT half")[0]) == pytest.approx(float(stands.dc("HT")[0]) / 2.0, rel=1e-3)


BASE = """format = 1
amplifier = { name = "x", mains = "230V 50Hz" }
[parts]
T1 = ["mains transformer", { primary = "230V", heat = "6.3V 4A ct", ht = "300-0-300V", rect = "5V 2A", bias = "40V" }]
"""


@pytest.mark.parametrize("kind", [k for k in KINDS if kinds()[k].example], ids=str)
def test_each_kinds_own_example_is_a_part_of_that_kind(kind: str) -> None:
    line = kinds()[kind].example
    name = line.split(" ", 1)[0]
    text = BASE if name != "T1" else BASE[: BASE.index("T1")]
    try:
        parts = load(text + line + "\n").parts
    except AmplifierError as error:  # its neighbours are not there; the line itself must still read
        assert all(
            any(
                word in p.found
                for word in ("there is no part", "set_by", "stands nowhere", "nothing but", "no charging path")
            )
            or p.line != text.count("\n") + 1
            for p in error.problems
        ), str(error)
        return
    assert parts[name].kind == kind


def test_what_is_not_used_yet_is_kept_and_said() -> None:
    text = (ROOT / "examples" / "b-hazel-four.toml").read_text(encoding="utf-8")
    more = text.replace(
        'C3 = ["0.1u 630V film", "V1 screen", "chassis"]',
        'C3 = ["0.1u 630V film", "V1 screen", "chassis", { hot_degc = 85, body_length_mm = 31.5 }]',
    )
    a = load(more)
    assert "C3 hot_degc" in a.not_used and "C3 body_length_mm" not in a.not_used
    assert a.parts["C3"].value("hot_degc") == 85.0
    assert a.parts["C3"].value("body_length_mm") == 31.5
