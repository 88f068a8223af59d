"""What warms a winding behind a rectifier: its amps rms in a row of their own, against a cycle that scipy integrates."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from parts_at_hand import B, audited, made, of, without_restart

import firstglow.devices
from firstglow.amplifier import load
from firstglow.cli.parts import command
from second_solutions import hazel_four

COPPER = "ht a: amps rms in its copper"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    without_restart(monkeypatch)


def test_amps_rms_of_an_ht_winding_against_a_cycle_by_scipy() -> None:
    """Example (b) running: its cycle integrated by LSODA with the same parts (tests/second_solutions, nothing of the package). The
    cells are 7.5 degrees wide: 1 %. A half winding carries pulses, so more rms than half the dc, however it is rated."""
    found = audited(load(B))
    (row,) = [s for s in found.of("T1").stresses if s.stress == COPPER]
    k = next(n for n, w in enumerate(found.stood.ways) if w.runs and w.level == "now")
    circuit, values = found.stood.circuit, found.stood.standing.values
    numbers = {name: float(values[at, k]) for name, at in circuit.column.items()}
    text = (Path(firstglow.devices.__file__).parent / "data" / "laws.json").read_text(encoding="utf-8")
    first = {n: kind["sections"][0] for n, kind in json.loads(text)["types"].items() if kind.get("sections")}
    types = {
        n: {**x["law"], **dict.fromkeys(("cathode amps", "rated_amps"), x["rated_amps"])} for n, x in first.items()
    }
    second = hazel_four.solve(numbers | {"mains nominal": 230.0}, types)
    assert row.everyday == pytest.approx(second["ht a"], rel=0.01)
    (dc,) = [s for s in found.of("T1").stresses if s.stress == "ht a: dc after its rectifier" and not s.fault]
    assert row.everyday is not None and row.everyday > 0.5 * dc.value
    said = re.search(r"(\d+) mW in its 190 Ω", row.note)  # I^2 R of the drawing's 190 ohm, two figures
    assert said is not None and float(said[1]) == pytest.approx(190e3 * row.value**2, rel=0.05)


@pytest.mark.parametrize("mark", ["250-0-250V 70m", "250-0-250V"])
def test_it_is_told_without_a_verdict_and_spoils_none(mark: str, tmp_path: Path) -> None:
    """A winding is marked with dc: rated or not, the rms is judged by no mark that is another's."""
    text = B.read_text().replace('"mains transformer", {', '"mains transformer", { volt_amps = "60" }, {')
    assert text.count("250-0-250V 70m") == 1 and "volt_amps" in text
    row = of(made(text.replace("250-0-250V 70m", mark), tmp_path), "T1")
    rows = {s["stress"]: s for s in row["stresses"] if s["survives"] is None and s["situation"]}
    told = rows[COPPER]
    assert told["verdict"] == "rating unknown" and told["rating"] is None and told["value"] > 0.0
    assert told["look"].startswith("nothing to look for")
    verdicts = {s["verdict"] for s in row["stresses"] if "in its copper" not in s["stress"]} - {None}
    assert ("rating unknown" in verdicts) == (mark == "250-0-250V")
    assert row["verdict"] == ("rating unknown" if mark == "250-0-250V" else "fit")
    assert "ht b: amps rms in its copper" in rows and "heat a: amps rms in its copper" not in rows


def test_the_table_has_it() -> None:
    flat = " ".join(CliRunner().invoke(command, [str(B), "T1"]).output.split())
    assert (
        f"{COPPER}: " in flat and "no verdict: it is marked for the dc" in flat and "copper: rating unknown" not in flat
    )
