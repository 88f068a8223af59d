"""Where an idle lies in what its class is run at: class AB with fixed bias at 50 to 70 % of the plate's limit, class A at up to 90 %
(common practice); 6V6GT 14 W, EL84 12 W, EL34 25 W (RCA, Philips)."""

import json
from pathlib import Path

import jsonschema
import pytest

from at_hand import audited_cold, firstglow
from firstglow import schemas
from firstglow.amplifier import load
from firstglow.amplifier.roles import roles
from firstglow.audit.bias import design
from firstglow.audit.idle_band import idle_band
from firstglow.audit.parts import document
from firstglow.cli.bias import bias_document
from firstglow.cli.bias_lines import lines as _lines

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
A, B, C = (EXAMPLES / f"{n}.toml" for n in ("a-linden-twin", "b-hazel-four", "c-sorrel-twenty"))


@pytest.mark.parametrize(
    ("file", "watts", "limit", "mark"),
    [(A, 6.9, 14.0, "below"), (A, 7.1, 14.0, "inside"), (A, 9.7, 14.0, "inside"), (A, 9.9, 14.0, "above"),
     (B, 10.7, 12.0, "inside"), (B, 10.81, 12.0, "inside"), (B, 10.9, 12.0, "above"), (C, 12.0, 25.0, "inside"), (C, 22.7, 25.0, "above"),
     (A, 9.0, None, "unknown")],
)  # fmt: skip
def test_the_mark_by_hand(file: Path, watts: float, limit: float | None, mark: str) -> None:
    """0.5 and 0.7 of 14 W are 7.0 and 9.8; 0.9 of 12 W is 10.8, of 25 W 22.5."""
    assert idle_band(roles(load(file)).outputs[0], watts, limit).mark == mark


def test_parts_has_it_of_output_valves_alone() -> None:
    whole = json.loads(json.dumps(document(audited_cold(load(B)))))
    jsonschema.validate(whole, schemas.load("parts"))
    told = {p["part"]: p["idle"] for p in whole["parts"] if p["idle"] is not None}
    assert set(told) == {"V2"}
    # EL84, cathode bias, by hand from the ladder's own readings at idle: 9.8 V over 240 ohm, a tenth of it the screen's, and
    # 276 V at the plate; the audit stands on the same 230 V
    assert told["V2"]["plate_watts"] == pytest.approx(0.9 * 9.8 / 240.0 * (276.0 - 9.8), rel=0.03)
    assert (told["V2"]["class"], told["V2"]["mark"]) == ("class A, single-ended", "inside")
    assert "V2: 81 % of 12 W, inside (class A, single-ended: up to 90 %)" in firstglow("parts", B, restart=False).stdout


def test_bias_marks_an_idle_outside_its_class(tmp_path: Path) -> None:
    """Example (a) set to 18 mA: 18 x some 300 V is 5.4 W, 39 % of 14 W."""
    file = tmp_path / "cool.toml"
    text = A.read_text(encoding="utf-8")
    assert text.count('idle = "24m"') >= 2
    file.write_text(text.replace('idle = "24m"', 'idle = "18m"'), encoding="utf-8")
    cool = load(file)
    made = design(cool, cool)  # once, for document and screen
    found = json.loads(json.dumps(bias_document(made)))
    jsonschema.validate(found, schemas.load("bias"))
    for i in found["as_changed"]["idle_range"]:
        assert i["band"]["mark"] == "below"
        assert i["share"] == pytest.approx(18e-3 * 300.0 / 14.0, rel=0.1)
        assert (i["band"]["low"], i["band"]["high"]) == (0.5, 0.7)
    said = " ".join(" ".join(_lines(made)).split())
    assert (
        "! idle below its class (class AB, fixed bias: 50 to 70 % of the plate's limit): the crossover shows." in said
    )
