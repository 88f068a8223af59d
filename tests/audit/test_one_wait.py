"""One wait for one amplifier: the ladder's foot, `discharge` and the climb wait for the highest mains; what each capacitor holds
beside it, by RC closed forms (any textbook)."""

import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from at_hand import built, firstglow, started
from firstglow import schemas
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier
from firstglow.audit.stored import at_worst, highest_mains, most_on

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
A, B, C = (EXAMPLES / f"{n}.toml" for n in ("a-linden-twin", "b-hazel-four", "c-sorrel-twenty"))


def feet(file: Path) -> dict[str, Any]:
    return {r["id"]: r["make_safe"] for r in built(load(file), mode="fast").document["rungs"]}


def high(amplifier: Amplifier, part: str, attribute: str) -> float:
    q = amplifier.parts[part].values[attribute]
    return q.value * (1.0 + (3.0 if q.shape == "normal" else 1.0) * q.spread)


@pytest.mark.parametrize("file", [A, B, C], ids=["a", "b", "c"])
def test_the_ladder_waits_as_long_as_discharge_says(file: Path) -> None:
    kept = at_worst(load(file))
    waits = [safe["wait_seconds"] for rung, safe in feet(file).items() if rung in ("4", "5", "7", "9", "10")]
    assert waits == [kept.wait] * 5 == [kept.told] * 5
    assert kept.wait >= max(r.below_60 for r in kept.rows if not r.mains_side and r.below_60 is not None)
    # asked of lower mains the table falls, the wait does not
    low = at_worst(load(file), 0.95 * load(file).mains_volts)
    assert (low.wait, low.wait_mains) == (kept.wait, kept.mains)
    assert abs(low.rows[0].volts) < 0.9 * abs(kept.rows[0].volts)


def test_nothing_a_cold_start_does_to_ht_is_above_what_is_waited_for() -> None:
    """Slow time is another road; silicon and a valve rectifier reach at most sqrt 2 x rms of the open half winding."""
    b = load(B)
    most, met = most_on(b, highest_mains(b)), started(b).highest
    winding = next(w for t in b.of_kind("transformer") for w in t.windings if w.name.startswith("ht"))
    crest = math.sqrt(2.0) * winding.turns.value * 1.1  # EN 50160: +10 %
    for part in ("C1a", "C1b", "C2"):
        assert 0.999 * met[part] <= most[part] < crest


def test_a_rung_holds_joules_and_times_of_every_capacitor() -> None:
    """Example (c), silicon: the three reservoirs come down together on R1 beside R3 + R4, so from 60 to 10 V it takes
    R C ln 6, all at the slow end; and half C V squared is what is in them."""
    c = load(C)
    for rung, safe in feet(C).items():
        assert {row["part"] for row in safe["capacitors"]} == (
            {p.name for p in c.of_kind("capacitor")} if safe["needed"] else set()
        ), rung
    rows = {row["part"]: row for row in feet(C)["10"]["capacitors"]}
    farads = sum(high(c, n, "farads") for n in ("C2", "C3", "C4"))
    ohms = 1.0 / (1.0 / high(c, "R1", "ohms") + 1.0 / (high(c, "R3", "ohms") + high(c, "R4", "ohms")))
    assert rows["C3"]["below_10_s"] - rows["C3"]["below_60_s"] == pytest.approx(ohms * farads * math.log(6.0), rel=0.03)
    assert rows["C3"]["joules"] == pytest.approx(0.5 * high(c, "C3", "farads") * rows["C3"]["volts"] ** 2, rel=1e-3)
    assert rows["C1"]["mains_side"]
    assert rows["C1"]["volts"] == pytest.approx(math.sqrt(2.0) * 132.0, abs=0.1)


def test_what_sets_the_wait_is_said_and_the_plug_is_told_apart() -> None:
    """C1 of example (c), 4.7 nF on the mains side at sqrt 2 x 132 V: half C V squared is a tenth of a thousandth of a joule; it
    empties through leakage for minutes and sets no wait inside, and is no comfort at the pins."""
    said = " ".join(firstglow("discharge", C).stdout.split())
    joules = 0.5 * high(load(C), "C1", "farads") * 2.0 * 132.0**2
    assert f"C1 ({1e3 * joules:.2g} mJ) is on the mains side" in said
    assert "Wait at least 40 s." in said
    assert "C3, 9.7 J at 563 V, holds most of those that are below 60 V last" in said
    assert "behind the open switch" in said
    assert "the pins of an unplugged cord can still sting" in said
    assert "safe to touch" not in said
    found = json.loads(firstglow("discharge", C, "--json").stdout)
    jsonschema.validate(found, schemas.load("discharge"))
    assert found["discharge"]["wait_part"] == "C3"
    assert found["discharge"]["mains_side"] == ["C1"]
    late = next(r for r in found["capacitors"] if r["part"] == "C1")
    assert late["below_60_s"] > found["discharge"]["wait_s"]
    assert "on the mains side" not in firstglow("discharge", B).stdout


def test_what_never_falls_by_itself_is_no_short_wait() -> None:
    """A published circuit without any bleeder: the ladder's foot has no seconds there, and no more has `discharge`."""
    file = EXAMPLES / "published" / "handbook-10w.toml"
    kept = at_worst(load(file))
    assert kept.told is None and {"C1", "C2"} <= set(kept.never)
    said = " ".join(firstglow("discharge", file).stdout.split())
    assert "It does not fall by itself." in said and "Wait at least" not in said
    assert "never below 60 V by themselves, however long the wait" in said
    assert json.loads(firstglow("discharge", file, "--json").stdout)["discharge"]["wait_told_s"] is None
