"""The order list is worked out together: fitted, it asks for nothing more, or says what stays."""

from math import sqrt
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from parts_at_hand import A, B, audited, made, of, without_restart

from at_hand import sorrel_of_500_volts
from firstglow.amplifier import load
from firstglow.audit import together
from firstglow.audit.altered import altered
from firstglow.audit.fitted import fitted
from firstglow.audit.pieces import Item, Made, electrolytic, metal_film, wirewound
from firstglow.audit.proposal import Proposal
from firstglow.cli.parts import command
from firstglow.solver.standing import SolveError

HALF = """format = 1
amplifier = { name = "Half wave", drawing = "own", mains = "230V 50Hz" }
[parts]
T1 = ["mains transformer", { primary = "230V", ht = "230V 60m", "ht 2" = "chassis", heat = "6.3V 2A", "heat 2" = "chassis" }]
D1 = ["selenium", "T1 ht 1", "HT1"]
C1 = ["50+50u 350V", "HT1", "HT2", "chassis"]
R1 = ["1k 5W", "HT1", "HT2"]
C3 = ["0.02u 400V paper", "V1 plate", "g2"]
R2 = ["220k", "HT2", "V1 plate"]
V1 = ["EF86", { grid = "in", cathode = "1k5 chassis", screen = "1M HT2", heater = "T1 heat" }]
J1 = ["input", "in", "chassis"]
R6 = ["1M", "in", "chassis"]
R3 = ["470k", "g2", "chassis"]
V2 = ["EL84", { grid = "g2", plate = "T2 plate a", screen = "HT2", cathode = "150R chassis", heater = "T1 heat" }]
T2 = ["output transformer 5k single-ended 6W", { taps = "8R", centre = "HT1", common = "chassis" }]
LS = ["load 8R", "T2 8", "chassis"]
"""
"""Selenium into a half-wave supply: silicon in its place lets HT rise on capacitors that are bought beside it."""


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    without_restart(monkeypatch)


def bought(found: dict[str, Any]) -> dict[str, tuple[str, int]]:
    """Part -> what and how many, bleeders and the HT fuse that are not drawn left out."""
    rows = [(n, r) for r in found["order"] for n in r["for"] if not r["what"].startswith("fuse")]
    return {n: (r["what"], r["pieces"]) for n, r in rows if r["needs"][n] != "charge"}


def test_what_is_ordered_stands_what_the_other_pieces_bring(tmp_path: Path) -> None:
    """Silicon alone: HT unloaded comes to the winding's crest, and twice that is across the diode (any text on rectifiers). 412 V want
    412 / 0.9 = 458 V, the next made is 500; 826 V of 1000 leave less than a fifth, so two diodes. Fitted, nothing more is bought."""
    found = made(HALF, tmp_path)
    assert bought(found)["C1a"][0] == bought(found)["C1b"][0] == "47 µF 500 V electrolytic, 105 degC"
    assert of(found, "D1")["proposal"]["what"].startswith("2 of 1N4007 in series")
    assert "with the whole order list fitted it meets working volts 412 V" in of(found, "C1a")["proposal"]["changes"]
    assert "nothing is past its rating" in of(found, "D1")["proposal"]["changes"]
    half = next(w.turns.value for w in load(tmp_path / "asked.toml").parts["T1"].windings if w.name == "ht")
    assert 0.98 < 412.0 / (1.1 * sqrt(2.0) * half) < 1.0  # on the highest mains, 10 % up
    new = HALF.replace(
        'D1 = ["selenium", "T1 ht 1", "HT1"]',
        'D1 = ["silicon 1A 2000V", "T1 ht 1", "HT0"]\nR50 = ["82R 2W", "HT0", "HT1"]',
    )
    new = new.replace("50+50u 350V", "47+47u 500V").replace("0.02u 400V paper", "22n 630V film")
    fit = made(new, tmp_path)
    assert bought(fit) == {} and not [p for p in fit["parts"] if p["verdict"] == "unfit"]
    # what the list foretold of the parts that stay is what they then meet
    told = {s["part"]: s["stresses"] for s in found["fitted"]["stays"]}
    assert set(told) == {
        p["part"] for p in fit["parts"] if any(s["verdict"] == "tight" and not s["mains_alone"] for s in p["stresses"])
    }
    for part, rows in told.items():
        for row in rows:
            (met,) = [s for s in of(fit, part)["stresses"] if s["stress"] == row["stress"] and s["verdict"]]
            assert row["value"] == pytest.approx(met["value"], rel=1e-3)


def test_a_part_that_stays_is_ordered_where_the_list_asks_it(tmp_path: Path) -> None:
    """450 V: 388 leave 14 %, and 10 are asked; 412 leave 8. Fit as it stands, so without a proposal, and ordered all the same."""
    found = made(HALF.replace("50+50u 350V", "50+50u 450V"), tmp_path)
    assert of(found, "C1a")["verdict"] != "unfit" and of(found, "C1a")["proposal"] is None
    assert [a["part"] for a in found["fitted"]["asks"]] == ["C1a", "C1b"]
    assert bought(found)["C1a"][0].endswith("500 V electrolytic, 105 degC")
    (line,) = [r for r in found["order"] if "C1a" in r["for"] and "electrolytic" in r["what"]]
    assert line["needs"] == {"C1a": "spare", "C1b": "spare"}
    said = " ".join(CliRunner().invoke(command, [str(tmp_path / "asked.toml")]).output.split())
    assert "FIT AS IT STANDS, and asked more with the order list fitted" in said
    assert "All of it fitted and audited again: it asks for nothing more to buy" in said


def test_the_list_of_example_c_asks_for_nothing_more(tmp_path: Path) -> None:
    """With 500 V electrolytics, which its ring passes, five kinds; put into the file: 2 x 75k in series are 150k of 4 W and 1000 V."""
    text = sorrel_of_500_volts()
    found = made(text, tmp_path)
    assert set(bought(found)) >= {"C3", "R3"} and found["fitted"]["asks"] == []
    for name, (what, pieces) in bought(found).items():
        line = next(x for x in text.splitlines() if x.startswith(f"{name} = "))
        old = line.split('"')[1]
        value, unit, *said = what.replace("1 %", "").split()
        if unit.endswith("F"):
            new = f"{value}{unit[0].replace('µ', 'u')} {said[0]}V"
        else:
            watts = said[said.index("W,") - 1]
            new = (
                f"{pieces * float(value):g}{unit[0].replace('Ω', 'R')} {pieces * float(watts):g}W {pieces * 500:g}V 1%"
            )
        text = text.replace(line, line.replace(f'"{old}"', f'"{new}"'))
    fit = made(text, tmp_path)
    assert bought(fit) == {} and fit["fitted"]["stays"] == []


def test_nothing_bought_is_nothing_solved_again(tmp_path: Path) -> None:
    """Example (b) is fit but for a screen with 7 % to spare of the 10 asked (279 of 300 V, Philips): that is what stays."""
    found = made(B.read_text(), tmp_path)
    assert bought(found) == {} and [s["part"] for s in found["fitted"]["stays"]] == ["V2"]


def test_each_piece_goes_into_its_place() -> None:
    """Each as one part of its ratings; 82 ohm in each plate lead, on a joint of its own."""
    a = load(A)
    bleeder_ = Item(2, metal_film(75e3, 2.0), "2 in series, a bleeder across C2, HT2 to chassis", "across it", 2)
    items = {
        "C1": Item(2, electrolytic(68e-6, 350.0), "2 in series", row=2),
        "C2": bleeder_,
        "V9": Item(2, wirewound(82.0, 5.0), "one in each plate lead", "in each plate lead"),
        "R3": Item(1, wirewound(22e3, 7.0)),
        "F1": Item(1, Made("fuse T 0.8 A, 250 V, H where the mains can give much", values={"amps": 0.8})),
        "S1": Item(1, Made("a switch rated for it, dc volts where it parts HT")),
    }
    proposals = {name: Proposal("", "", items=(item,)) for name, item in items.items()}
    made_, by, untold = fitted(a, proposals)
    c1, r3, bleeder = made_.parts["C1"], made_.parts["R3"], made_.parts["C2 bleeder"]
    assert c1.value("farads") == pytest.approx(34e-6) and c1.value("volts") == 700.0
    assert (
        bleeder.value("ohms") == 150e3
        and bleeder.value("watts") == 4.0
        and set(bleeder.leads.values()) == {"HT2", "chassis"}
    )
    assert r3.value("ohms") == 22e3 and r3.type == "wirewound" and r3.leads == a.parts["R3"].leads
    assert made_.parts["F1"].value("amps") == 0.8 and untold == {"S1"}
    for lead in ("plate 1", "plate 2"):
        piece = made_.parts[f"V9 {lead} resistor"]
        assert piece.value("ohms") == 82.0 and piece.leads["1"] == a.parts["V9"].leads[lead]
        assert made_.parts["V9"].leads[lead] == piece.leads["2"] == piece.name and by[piece.name][0] == "V9"
    assert altered(made_, []).joints.keys() == made_.joints.keys()  # every lead stands on a joint


def test_a_first_list_is_kept_where_the_whole_would_not_settle(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object) -> None:
        raise SolveError("would not settle", "HT")

    at = audited(load(A, as_="drawn"))
    monkeypatch.setattr(together, "every_way", never)
    proposals = {a.part: a.proposal for a in at.parts if a.proposal is not None}
    found = together.together(at.stood, {a.part: a.stresses for a in at.parts}, proposals)
    assert found.stays is None and found.more == {} and found.proposals["D1"] == proposals["D1"]
