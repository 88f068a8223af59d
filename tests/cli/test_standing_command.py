"""``firstglow standing``: the whole situation in its head, 80 columns, ripple in it, remedies that work when pasted."""

import itertools
import json
import re
import shlex
import subprocess
from pathlib import Path

import jsonschema
import pytest

from at_hand import firstglow
from firstglow import api, schemas
from firstglow.amplifier.options import SituationError

EXAMPLES = Path(__file__).parents[2] / "examples"
A, B, C = (str(next(EXAMPLES.glob(f"{letter}-*.toml"))) for letter in "abc")


def run(*words: str, code: int = 0) -> subprocess.CompletedProcess[str]:
    return firstglow("standing", *words, code=code)


def document(*words: str) -> dict:
    found = json.loads(run(*words, "--json").stdout)
    jsonschema.validate(found, schemas.load("standing"))
    return found


@pytest.mark.parametrize("file", [A, B, C])
def test_80_columns_and_no_minus_nothing(file: str) -> None:
    lines = run(file).stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert not [line for line in lines if re.search(r"-0\.0+(\s|$)", line)]


def test_head_says_the_whole_situation() -> None:
    words = ["--out", "V1", "--fault", "C5:leaks=500k", "--lamp", "60", "--mains-now", "225", "--hertz", "60"]
    head = run(B, *words, "--as", "drawn").stdout.split("Joints")[0]
    for said in ("225 V", "60 Hz", "as drawn", "C5:leaks=500k", "V1", "60 W", "lifted:   none"):
        assert said in head


def test_ripple_is_in_the_document() -> None:
    """A full-wave reservoir's ripple is dc amps / (4 sqrt 3 f C) at most (triangle: charged in no time, RDH ch. 31), and
    not under half of that; what its capacitor takes obeys hypot: rms above the dc, peak above the rms."""
    found = document(B)
    volts, amps = found["joints"]["HT1"]["ac"], found["parts"]["V3"]["amps"]
    triangle = amps / (4 * 3**0.5 * 50.0 * api.load(B).parts["C1a"].value("farads"))
    assert 0.5 * triangle < volts < 1.02 * triangle
    assert found["joints"]["HT2"]["ac"] < 0.2 * volts
    row = found["parts"]["C1a"]
    assert row["amps_peak"] > row["amps_rms"] > amps
    assert found["parts"]["R1"]["amps_rms"] > abs(found["parts"]["R1"]["amps"])


def test_a_signal_is_followed_from_joint_to_joint() -> None:
    """0.1 V at the input is 0.1 V at the first grid; a bypass that dried out leaves less of it at the loudspeaker's end, by
    the same gain that the ladder's reading of that place moves."""
    words = ("--stimulus", "0.1", "--feedback", "open")
    whole, dried = document(B, *words), document(B, *words, "--fault", "C4:open")
    assert whole["joints"]["V1 grid"]["signal"] == pytest.approx(0.1, rel=1e-3)
    assert dried["joints"]["T2 8"]["signal"] < 0.5 * whole["joints"]["T2 8"]["signal"]
    assert "signal" not in document(B)["joints"]["V1 grid"]
    lines = run(A, *words).stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert [line for line in lines if re.search(r"V1 grid .* 100.00 mV", line)]


def test_hertz_reaches_the_solution() -> None:
    assert document(B, "--hertz", "60")["joints"]["HT1"]["ac"] < 0.9 * document(B)["joints"]["HT1"]["ac"]
    assert "40 to 70" in run(B, "--hertz", "500", code=2).stderr


def test_situation_file(tmp_path: Path) -> None:
    file = tmp_path / "s.json"
    file.write_text(json.dumps({"mains_volts": 225, "mains_hz": 60, "loads": {"HT2": 10000}}), encoding="utf-8")
    found = document(B, "--situation", str(file))
    plain = document(B, "--mains-now", "225", "--hertz", "60")
    # 10 kohm beside what the amplifier takes: R1 carries its amps (Ohm) less what the fall of HT2 saves
    more = found["parts"]["R1"]["amps"] - plain["parts"]["R1"]["amps"]
    assert 0.7 < more / (found["joints"]["HT2"]["dc"] / 10000) < 1.0
    assert "--mains-now" in run(B, "--situation", str(file), "--mains-now", "220", code=2).stderr
    file.write_text('{"mains_volts": 225, "out": ["V9"]}', encoding="utf-8")
    assert "'V9'" in run(B, "--situation", str(file), code=2).stderr


@pytest.mark.parametrize(
    "words", [["--open", "S9"], ["--feedback", "test"], ["--out", "V9"], ["--hertz", "x"], ["--fault", "R99:open"]]
)
def test_remedies_work_when_pasted(words: list[str]) -> None:
    said = run(B, *words, code=2).stderr.strip()
    run(B, *shlex.split(said.rsplit("; try ", 1)[1]))


def test_a_meter_that_is_not_there_is_told() -> None:
    assert "not on this bench; there are digital, 20k, 1k" in run(B, "--meter", "nosuch", code=2).stderr


def test_past_a_rating_is_said_in_words() -> None:
    assert "PAST ITS RATING" not in run(B).stdout
    assert "PAST ITS RATING" in run(B, "--fault", "C5:leaks=500k").stdout


def test_python_says_what_is_near() -> None:
    amplifier = api.load(B)
    for situation, faults in (
        (api.Situation(230.0, out=frozenset({"V33"})), ()),
        (api.Situation(230.0), (api.Fault("V22", "dead"),)),
        (api.Situation(230.0, loads={"HT22": 1e4}), ()),
    ):
        with pytest.raises(SituationError, match=r"try '"):
            api.standing(amplifier, situation, faults)


def test_idle_turns_the_presets_to_the_targets() -> None:
    """Ohm's law: 24 mA through the 10 ohm sense resistor of each output valve; the valves then stand within their volts."""
    found = document(A, "--idle")
    for part in ("left R25", "left R29", "right R25", "right R29"):
        assert found["parts"][part]["amps"] == pytest.approx(24e-3, rel=1e-3)
    shown = run(A, "--idle").stdout
    assert "turned:" in shown
    assert "PAST ITS RATING" not in shown
    assert "--idle turns them" in run(A).stdout
    assert "set_by" in run(B, "--idle", code=2).stderr


def test_idle_of_a_situation_file_is_kept(tmp_path: Path) -> None:
    file = tmp_path / "s.json"
    file.write_text('{"mains_volts": 230, "idle": {"V3": 0.02}}', encoding="utf-8")
    assert document(A, "--situation", str(file))["parts"]["left R25"]["amps"] == pytest.approx(20e-3, rel=1e-3)


@pytest.mark.parametrize("ohms", [2.5e3, 25e3])
def test_an_empty_choke_is_told_on_its_near_side(ohms: float, tmp_path: Path) -> None:
    """8 H at 50 Hz full wave run empty above 2 pi f L x 3 = 7.5 kohm of load (the critical inductance is R/(6 pi f), common
    practice); only then steps on the near side leave more than the carried harmonics."""
    file = tmp_path / "supply.toml"
    file.write_text(
        'format = 1\nfragment = true\namplifier = { name = "S", drawing = "sketch", mains = "230V 50Hz" }\n[parts]\n'
        'J1 = ["inlet", "line", "neutral", "earth"]\nW1 = ["wire", "earth", "chassis"]\n'
        'T1 = ["mains transformer", { primary = "230V 14R", ht = "300-0-300V 150m 85+85R" }, '
        '{ "primary 1" = "line", "primary 2" = "neutral" }]\n'
        'D1 = ["1N4007", "T1 ht 1", "near"]\nD2 = ["1N4007", "T1 ht 2", "near"]\n'
        'L1 = ["choke 8H 160m 110R", "near", "HT1"]\nC1 = ["47u 500V", "HT1", "chassis"]\n'
        f'R1 = ["{ohms / 1e3:g}k 50W", "HT1", "chassis"]\n',
        encoding="utf-8",
    )
    lines = run(str(file)).stdout.splitlines()
    told = [before.split()[0] for before, line in itertools.pairwise(lines) if "runs empty" in line]
    assert told == (["near"] if ohms > 1e4 else [])
