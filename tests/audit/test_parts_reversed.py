"""An electrolytic that meets volts the wrong way round: turned round only where it runs so; a rail that a standby switch cuts off is
held by a bleeder."""

from math import exp, log1p
from pathlib import Path
from typing import Any

import pytest
from parts_at_hand import A, B, audited, made, of, without_restart

from at_hand import standing_cold
from firstglow.amplifier import load
from firstglow.audit.parts import KINDS, Audit
from firstglow.audit.stress import worst

SWITCHED = A.read_text(encoding="utf-8").replace(
    'L1 = ["choke 10H 60m 280R", "HT1", "HT2"]',
    'L1 = ["choke 10H 60m 280R", "HT1s", "HT2"]\nS2 = ["standby switch", "HT1", "HT1s"]',
)
OPEN = "S2 open (standby), highest mains"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    without_restart(monkeypatch)


def reverse(found: dict[str, Any], part: str) -> dict[str, Any]:
    return next(s for s in of(found, part)["stresses"] if s["stress"] == "reverse volts" and s["survives"] is None)


def column(found: Audit, text: str) -> int:
    return next(n for n, w in enumerate(found.stood.ways) if w.text == text)


def test_a_rail_cut_off_in_standby_keeps_its_polarity(tmp_path: Path) -> None:
    """Example (a), HT2 to HT4 behind a standby switch: +300 V when running, about -1 V with it open. One bleeder is ordered, nothing else
    for the three, and nobody turns one round; put into the file, it holds all of them."""
    assert SWITCHED.count("HT1s") == 2
    found = made(SWITCHED, tmp_path)
    bleeder = "150 kΩ metal film 3 W, 1 %"
    for part in ("C2", "C3a", "C3b"):
        row = of(found, part)
        assert row["verdict"] == "unfit" and reverse(found, part)["situation"] == OPEN
        assert "other way round" not in str(row["proposal"]) and "plus stays where it is" in row["proposal"]["what"]
        assert "electrons" in row["proposal"]["changes"] and row["proposal"]["left"] == []
    assert of(found, "C2")["proposal"]["what"].startswith(f"{bleeder} across it, a bleeder")
    assert "the bleeder of 150 kΩ across C2" in of(found, "C3a")["proposal"]["what"]
    bought = [line for line in found["order"] if {"C2", "C3a", "C3b"} & set(line["for"])]
    assert [(line["what"], line["pieces"], line["for"]) for line in bought] == [(bleeder, 1, ["C2"])]
    # 436 V x 436 V / 150k = 1.27 W, twice that is asked of a film body: 3 W is the next made; 500 V on it (facts: res.voltage_limit)
    at = standing_cold(load(SWITCHED.replace("\nS2 = ", '\nRB = ["150k 3W 1%", "HT2", "chassis"]\nS2 = ')))
    fitted = {
        n: tuple(KINDS[at.amplifier.parts[n].kind](at, at.amplifier.parts[n])) for n in ("C2", "C3a", "C3b", "RB")
    }
    for part in ("C2", "C3a", "C3b"):
        (row,) = (s for s in fitted[part] if s.stress == "reverse volts" and not s.fault)
        assert row.verdict == "fit"
    assert worst(fitted["RB"]) == "fit"


def test_what_pulls_it_below_zero_by_hand(tmp_path: Path) -> None:
    """The grids behind V1 take I = 1 mA/V^1.5 x (0.09 V ln(1 + exp((V + 0.5)/0.135)))^1.5 (PHYSICS: about -1 V over 10 Mohm), V2a and V2b
    and the other channel's, and it comes back through the leaks of C2, C3a and C3b alone."""
    file = tmp_path / "asked.toml"
    file.write_text(SWITCHED, encoding="utf-8")
    found = audited(load(file))
    k = column(found, OPEN)

    def dc(joint: str) -> float:
        return float(found.stood.dc(joint)[k])

    def grid(volts: float) -> float:
        return float(1e-3 * (0.09 * log1p(exp((volts + 0.5) / 0.135))) ** 1.5)

    pairs = [
        ("V1 plate", "V2a cathode"),
        ("V2b grid", "V2a cathode"),
        ("V5 plate", "V6a cathode"),
        ("V6b grid", "V6a cathode"),
    ]
    taken = sum(grid(dc(g) - dc(c)) for g, c in pairs)
    parts = found.stood.amplifier.parts
    leaks = sum(-dc(parts[c].leads["+"]) / parts[c].value("leak_ohms") for c in ("C2", "C3a", "C3b"))
    assert -1.2 < dc("HT2") < -0.8
    assert taken == pytest.approx(leaks, rel=0.08)  # the rest lands on screens and plates


def test_one_that_runs_reversed_is_turned_round_with_volts_to_spare(tmp_path: Path) -> None:
    """Its plus on a resistor to chassis, its minus on HT3 of example (b): minus some 260 V running, some 400 V
    unloaded. 10 % is asked: 441 V at least, in place of the 400 V that it is marked with."""
    text = B.read_text() + 'R20 = ["1k 1W", "low", "chassis"]\nC9 = ["10u 400V", "low", "HT3"]\n'
    found = made(text, tmp_path)
    most = next(s["value"] for s in of(found, "C9")["stresses"] if s["stress"] == "working volts")
    what = of(found, "C9")["proposal"]["what"]
    assert (
        what.startswith("10 µF 450 V electrolytic") and "the other way round: its minus where its plus is now" in what
    )
    assert 0.9 * 400.0 < most <= 0.9 * 450.0
    (line,) = [line for line in found["order"] if "C9" in line["for"]]
    assert line["what"] == "10 µF 450 V electrolytic, 105 degC" and line["pieces"] == 1


def test_volts_of_either_sign_have_no_polarity(tmp_path: Path) -> None:
    """Between HT behind a standby switch and a fifth of HT ahead of it: plus four fifths running, minus one fifth with it open."""
    text = B.read_text().replace(
        'R1 = ["270R 5W 5%", "HT1", "HT2"]', 'R1 = ["270R 5W 5%", "HT1s", "HT2"]\nS2 = ["standby switch", "HT1", "HT1s"]'
    ) + 'R20 = ["470k 2W", "HT1", "low"]\nR21 = ["120k 1W", "low", "chassis"]\nC9 = ["10u 450V", "HT2", "low"]\n'  # fmt: skip
    found = made(text, tmp_path)
    assert reverse(found, "C9")["value"] > 30.0
    proposal = of(found, "C9")["proposal"]
    assert proposal["what"].startswith("2 of 22 µF 450 V electrolytic") and "minus to minus" in proposal["what"]
    (line,) = [line for line in found["order"] if "C9" in line["for"]]
    assert line["pieces"] == 2
