"""The bias supply designed again: what cannot be, each refusal with what helps."""

import json
import re
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from test_bias import P1, P2, WINDING, A, B

import at_hand
from at_hand import linden_of_one_channel
from firstglow import schemas
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier, AmplifierError
from firstglow.audit.bias import design
from firstglow.audit.bias_parts import network
from firstglow.cli.bias import command
from firstglow.cli.bias_lines import lines as _lines


def edited(tmp_path: Path, *swaps: tuple[str, str]) -> Amplifier:
    """Example (a), one channel of it: what is refused of two is refused of one."""
    return at_hand.edited(linden_of_one_channel(), tmp_path, *swaps)


def test_two_impossible_inputs_are_refused_with_a_reason(tmp_path: Path) -> None:
    low = edited(tmp_path, (WINDING, WINDING.replace("46V", "24V")))
    found = design(low, low)
    assert not found.alternatives and found.refused is not None
    assert "too low" in found.refused and "T1 bias" in found.refused
    # 24 V marked is sqrt 2 x 24 x 1.1 = 37 V on high mains, some more unloaded; the strongest valve wants about -46 V there
    small = edited(tmp_path, (P1, P1.replace("0.5W", "0.01W")), (P2, P2.replace("0.5W", "0.01W")))
    found = design(small, small)
    assert not found.alternatives and found.refused is not None
    assert "too small" in found.refused and "rated 10 mW" in found.refused


def test_hum_that_no_capacitor_brings_down_is_refused_with_a_remedy_that_works() -> None:
    """A filter's capacitor is inverse to its hum (RC far past 50 Hz): some hundred times the drawn 100 uF is no part that is
    made. What the refusal allows instead is answered."""
    file = load(A)
    refused = design(file, file, hum_limit=1e-6).refused
    assert refused is not None and "0.00 mV" not in refused and "1 µV allowed" in refused
    told = re.search(r"(C5) alone would have to be ([\d,]+) µF: .* --hum ([\d.]+)m$", refused)
    assert told is not None
    hum = float(told[3]) * 1e-3
    assert float(told[2].replace(",", "")) * 1e-6 == pytest.approx(100e-6 * hum / 1e-6, rel=0.05)
    assert design(file, file, hum_limit=hum).alternatives


def test_an_idle_that_no_preset_reaches_is_told_as_it_stands(tmp_path: Path) -> None:
    """12 V in place of 46: the presets end far short of 24 mA, and the watts are volts times what does flow."""
    low = edited(tmp_path, (WINDING, WINDING.replace("46V", "12V")))
    found = design(low, low)
    for idle in found.now.found.idle.values():
        assert idle.comes_short and not idle.reached and idle.low < idle.stands < idle.high
        assert idle.plate_watts + idle.screen_watts > 1.5 * 0.024 * 280.0
    assert any("come to their end first, at left V3" in line for line in _lines(found))


def test_cathode_bias_has_nothing_to_design() -> None:
    done = CliRunner().invoke(command, [str(B), "--json"])
    document = json.loads(done.output)
    jsonschema.validate(document, schemas.load("bias"))
    assert document["alternatives"] == [] and "cathode bias" in document["refused"]


def test_a_preset_that_no_line_names_is_asked_for(tmp_path: Path) -> None:
    """Without set_by the preset would be left at its end, and its valve's idle be read as designed."""
    file = edited(tmp_path, ('"24m", set_by = "P1"', '"24m"'))
    with pytest.raises(AmplifierError, match=r'edited.toml:\d+: left V3: left P1 moves this grid.*; try set_by = "P1"'):
        network(file)


def test_each_refusal_says_what_helps(tmp_path: Path) -> None:
    """47,000 uF behind the winding's 55 ohms and 2k7 is there after the valves (RC); 460 V marked is past what is made."""
    slow = edited(tmp_path, ('C4 = ["47u 100V"', 'C4 = ["47000u 100V"'))
    assert "less farads in C4" in str(design(slow, slow).refused)
    high = edited(tmp_path, (WINDING, WINDING.replace("46V", "460V")))
    assert "a lower tap" in str(design(high, high).refused)


def test_mains_that_no_primary_lives_on() -> None:
    done = CliRunner().invoke(command, [str(A), "--mains-now", "400"])
    assert "230 V" in str(done.exception) and done.exit_code != 0


def test_hum_that_is_no_volts() -> None:
    done = CliRunner().invoke(command, [str(A), "--hum", "loud"])
    assert done.exit_code != 0 and "try --hum 2m" in done.output
