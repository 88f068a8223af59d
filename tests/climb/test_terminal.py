"""A whole climb of example (b) at a real pseudo-terminal, answered from what its own screens say."""

import json
import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from player import EXAMPLES
from terminal import Screen

B = EXAMPLES / "b-hazel-four.toml"


def ids(records: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in records.read_text(encoding="utf-8").splitlines()]


def clips(text: str) -> int:
    """Clips that the set-up of a screen names, counted place by place: the number itself stands nowhere on it."""
    assert not re.search(r"\d+ clip", text.rpartition("CLIPS ON")[2].replace("\n", " ")), text
    named = re.search(r"CLIPS ON (.*?)COUNT", text, re.DOTALL)
    assert named is not None, text
    words = " ".join(named[1].split())
    black, _, red = words.removeprefix("black on ").partition("red on ")
    return sum(len([p for p in places.split(",") if p.strip()]) for places in (black, red) if "none for" not in places)


def answers(screen: Screen, sheet: dict[str, str], reading: Callable[[str, str], str | None], most: int = 2000) -> str:
    """Answer every screen as a person would who reads it; the last screen.

    sheet: title and number of a reading ("4 3/14") -> what is typed. reading: (that, the screen) -> what is typed
    instead, "" to stop there, None for the sheet's own.
    """
    for _ in range(most):
        text = screen.text
        if "is climbed" in text:
            return text
        if "Waiting:" in text:
            screen.send("")
            continue
        if "Enter: the rest" in text or "Enter when" in text.rpartition("──")[2]:
            screen.send("\n")
        elif "How many clips" in text:
            screen.send(f"{clips(text)}\n")
        elif "Type yes" in text:
            screen.send("yes Anna Berg\n")
        elif "known source:" in text:
            screen.send("9.1\n")
        elif "Volts dc read there now" in text:
            screen.send("4\n")  # so low that no fall is called slow, however late this clock has it typed
        elif "Volts dc" in text:
            screen.send(" ".join("0.2" for _ in re.findall(r"^READ ", text, re.MULTILINE)) + "\n")
        elif "type out that moment" in text:
            screen.send("out\n")
        elif re.search(r"^WAIT .*\byet\b", text, re.MULTILINE):
            screen.send("")  # it runs down on the screen
        elif "STOP IF" in text:
            found = re.search(r"Rung (\w+)\..*?(\d+/\d+)\n", text)
            assert found is not None, text
            name = f"{found[1]} {found[2]}"
            typed = reading(name, text)
            if typed == "":
                return text
            screen.send((sheet[name] if typed is None else typed) + "\n")
        else:
            return text
    raise AssertionError(f"no end: {screen.text}")


@pytest.fixture(scope="module")
def sheet() -> dict[str, str]:
    """What a healthy amplifier shows, by rung and number, from the printed ladder of the same amplifier."""
    from player import healthy, ladder

    made = {}
    for rung in ladder().expected.rungs:
        for number, reading in enumerate(rung.readings, 1):
            made[f"{rung.id} {number}/{len(rung.readings)}"] = healthy(reading)
    return made


@pytest.mark.slow
def test_example_b_climbs_from_the_mains_side_to_the_loudspeaker(tmp_path: Path, sheet: dict[str, str]) -> None:
    records = tmp_path / "b.jsonl"
    with Screen(B, "--quick", "--records", records) as screen:
        screen.wait("Enter")

        def looked_at(name: str, text: str) -> str | None:
            assert "EXPECT" in text
            assert text.index("STOP IF") < text.index("EXPECT")
            return None

        text = answers(screen, sheet, looked_at)
        assert "the ladder is climbed" in text
        assert screen.ended() == 0
    kept = ids(records)
    assert screen.widest <= 80
    assert [r["who"] for r in kept if r["event"] == "sign"] == ["Anna Berg"] * 5
    assert [r["rung"] for r in kept if r["event"] in ("pass", "sign")][-1] == "10"
    assert not [r for r in kept if r["event"] in ("look first", "switch off now", "slow", "not down")]
    assert "safe to touch" not in screen.raw
    assert "may be touched" not in screen.raw.replace("never says that a chassis may be touched", "")


def at(screen: Screen, sheet: dict[str, str], name: str) -> str:
    """Healthy up to one reading; its screen."""
    text = answers(screen, sheet, lambda found, text: "" if found == name else None)
    assert name.split()[1] in text
    return text


@pytest.mark.slow
def test_keys_forms_slips_and_the_one_key_at_a_terminal(tmp_path: Path, sheet: dict[str, str]) -> None:
    records = tmp_path / "b.jsonl"
    with Screen(B, "--quick", "--records", records) as screen:
        screen.wait("Enter")
        if "the rest" in screen.text:
            assert screen.send("4\n").endswith("\n> 4")  # a figure before the rest of a card is read: it was swallowed
            os.write(screen.fd, b"\b")
        assert "no reading is asked yet" in screen.send("38.2\n")
        screen.send("\n")
        at(screen, sheet, "0 4/8")
        assert "is not a reading" in screen.send("rubbish\n")
        assert "try back" in screen.send("bakc\n")
        assert "in ohm" in screen.send("3V\n")
        assert "It stays unplugged above" in screen.send("why\n")  # ohms: there is nothing to switch off
        os.write(screen.fd, b"\x1b[A")  # an arrow key is no Esc
        assert "go on" in screen.send("0,05\n").split("\n")[0]
        assert "asked again: rung 0" in screen.send("back\n")
        at(screen, sheet, "1 6/41")
        text = screen.send("270k\n")
        assert "✗ DO NOT GO ON" in text
        assert "typed as" in text
        assert "check first" in text
        assert screen.send("2R7\b\b\b0k27\n").startswith("✓ go on")
        text = at(screen, sheet, "4 3/14")
        assert "LIVE" in text
        text = screen.send("\x1b")  # one key, no Enter
        assert "MAKE SAFE" in text
        assert "▶ 1." in text
        text = at(screen, sheet, "4 3/14")
        text = screen.send(" ")  # and the space bar on an empty line
        assert "▶ 1." in text
        text = at(screen, sheet, "4 3/14")
        text = screen.send("460\n")
        assert "✗ SWITCH OFF NOW" in text
        assert "▶ 1." in text
        screen.send("quit\n")
        assert screen.ended() == 0
        assert "under power" in screen.text
    events = [r["event"] for r in ids(records)]
    assert events.count("switch off now") == 1
    # a second sitting: refused without --resume, and goes on where it was with it
    with Screen(B, "--quick", "--records", records) as screen:
        assert screen.ended() == 2
        assert "try --resume" in screen.raw
    with Screen(B, "--quick", "--records", records, "--resume") as screen:
        text = screen.wait("MAKE SAFE")
        assert "rung 4" in text
        with Screen(B, "--quick", "--records", records, "--resume") as other:
            assert other.ended() == 2
            assert "in use by another climb" in other.raw
        at(screen, sheet, "4 3/14")
