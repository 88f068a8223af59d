"""What a second reader with only the README stumbled over in the audit's commands (docs/evidence/readers), one check each."""

import json
import re

from at_hand import ROOT, built, firstglow
from firstglow.amplifier import load

A = "examples/a-linden-twin.toml"


def _plain(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def test_an_order_list_says_that_an_open_wiper_is_not_cured_by_it() -> None:
    said = _plain(firstglow("parts", A).stdout)
    order = said[said.index("ORDER LIST") :]
    assert "NOT in this list: an open wiper (left P1, left P2, right P1, right P2) burns V3, V4, V7, V8" in order
    assert "firstglow bias" in order and "F1 need not open" in order


def test_discharge_starts_from_what_every_valve_out_leaves_and_names_the_ladders_resistor() -> None:
    """439 V stand on C1 with all but the rectifier out, as parts has it: V^2 / 10 kohm is told as a moment's, beside what the
    resistor is made for (five times its watts for five seconds: usual of wirewounds, from memory)."""
    told = json.loads(firstglow("discharge", A, "--json").stdout)
    parts = json.loads(firstglow("parts", A, "--json").stdout)["parts"]
    most = {
        p["part"]: max(s["value"] for s in p["stresses"] if s["stress"] == "working volts" and not s["survives"])
        for p in parts
        if p["part"] in ("C1", "C2")
    }
    rows = {r["part"]: r for r in told["capacitors"]}
    assert all(abs(abs(rows[c]["volts"]) / v - 1.0) < 2e-3 for c, v in most.items())
    tool = told["discharge"]
    assert abs(tool["watts"] - tool["from_volts"] ** 2 / 10e3) < 1e-9
    assert tool["rated_watts"] == 10.0 and tool["watts"] < 5.0 * tool["rated_watts"]
    assert {r["make_safe"]["watts"] for r in built(load(ROOT / A), mode="fast").document["rungs"]} <= {None, 10.0}
    said = _plain(firstglow("discharge", A).stdout)
    assert "10 kohm, 10 W wirewound" in said and "over 60 V" in said and "R1 is open" in said
