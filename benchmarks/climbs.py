"""Whole climbs at a real pseudo-terminal: ``python -m benchmarks.climbs [a|b|c ...]`` (all three unless told).

Healthy from the mains side to the top; with each planted danger of ``tests/dangers`` up to where it is stopped and made
safe; and a climb killed at random moments and resumed. Figures typed are what the solver gives with the fault in; the
clock runs 3000 times faster than life, nothing else is changed.
"""

import argparse
import contextlib
import json
import os
import random
import re
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

ROOT = Path(__file__).parent.parent
for folder in ("tests", "tests/climb", "tests/dangers"):
    sys.path.insert(0, str(ROOT / folder))

NAMES = {"a": "a-linden-twin", "b": "b-hazel-four", "c": "c-sorrel-twenty"}
Typed = Callable[[str], str]


def main() -> None:
    """Run it."""
    from planted import PLANTED
    from player import healthy, ladder
    from test_dangers_climbed import shown_with

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("which", nargs="*", choices=[*NAMES, []])
    parser.add_argument("--only-kills", action="store_true", help="nothing but the kills")
    parser.add_argument("--seed", type=int, default=5, help="of the moments")
    parser.add_argument("--kills", type=int, default=100, help="SIGKILLs of a climb of example b")
    asked = parser.parse_args()
    if asked.only_kills:
        print(killed(asked.kills, asked.seed), flush=True)
        return
    for short in asked.which or NAMES:
        name = NAMES[short]
        by_id = ladder(name).expected.by_id
        took, last, events = climbed(name, lambda reading, by_id=by_id: healthy(by_id[reading]))
        safe = sum(e["event"] == "made safe" for e in events)
        print(f"{name}: healthy, {took:.0f} s: {last}; {len(events)} records, made safe {safe} times", flush=True)
        for planted in PLANTED.get(name, ()):
            shown = shown_with(name, planted.fault, len(ladder(name).expected.rungs))

            def typed(reading: str, shown: Mapping[str, str] = shown, by_id: Mapping[str, object] = by_id) -> str:
                return shown.get(reading, healthy(by_id[reading]))

            took, last, events = climbed(name, typed)
            print(f"  {planted.danger}: {planted.name}: {last} ({took:.0f} s)", flush=True)
    if "b" in (asked.which or NAMES):
        for line in slips_told():
            print(line)
        if asked.kills:
            print(killed(asked.kills, asked.seed))


def numbers(name: str) -> Mapping[str, str]:
    """Rung and number as the screen has them ("4 3/14") -> reading id."""
    from player import ladder

    return {
        f"{rung.id} {n}/{len(rung.readings)}": r.id
        for rung in ladder(name).expected.rungs
        for n, r in enumerate(rung.readings, 1)
    }


def climbed(name: str, typed: Typed) -> tuple[float, str, list[dict[str, object]]]:
    """(seconds, how it ended, records) of one climb to the top or to made safe after what stopped it."""
    from terminal import Screen
    from test_terminal import answers

    of, start = numbers(name), time.perf_counter()
    stopped: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        records = Path(folder) / "climb.jsonl"
        with Screen(ROOT / "examples" / f"{name}.toml", "--quick", "--records", records) as screen:
            screen.wait("Enter", 60.0)

            def reading(number: str, text: str) -> str:
                if stopped:
                    return ""
                word = typed(of[number])
                before = len(records.read_text(encoding="utf-8").splitlines())
                answer = screen.send(word + "\n")
                found = [json.loads(x) for x in records.read_text(encoding="utf-8").splitlines()[before:]]
                bad = next((r for r in found if r["event"] in ("look first", "switch off now", "stopped")), None)
                if bad is not None:
                    stopped.append(f"{bad['verdict']} at {bad['reading']} ({word})")
                    if "▶" not in answer:
                        screen.send("\x1b")
                return ""

            while True:
                # a reading was typed by ``reading`` itself: answers() is only told to go on with what is on the screen
                text = answers(screen, {}, reading)
                if "is climbed" in text or stopped:
                    break
            while "▶" in screen.text:  # made safe, one answer after another, and nothing after it
                with contextlib.suppress(AssertionError):
                    answers(screen, {}, reading, most=1)
            if screen.widest > 80:
                stopped.append(f"{screen.widest} COLUMNS WIDE")
        events = [json.loads(x) for x in records.read_text(encoding="utf-8").splitlines()]
    last = [str(e["event"]) for e in events][-1]
    how = (
        f"{stopped[0]}, {'made safe' if last == 'made safe' else 'NOT MADE SAFE'}" if stopped else "climbed to the top"
    )
    return time.perf_counter() - start, how, events


def slips_told() -> list[str]:
    """The slips of ``tests/climb/test_slips.py`` typed in one healthy climb of example b, and whether each was named."""
    from player import healthy, ladder
    from terminal import Screen
    from test_slips import test_a_slip_is_named_before_a_part_is_blamed as cases
    from test_terminal import answers

    name = NAMES["b"]
    of, by_id = numbers(name), ladder(name).expected.by_id
    left: dict[str, list[tuple[str, str, str]]] = {}
    for reading, typed, kind, words in cases.pytestmark[0].args[1]:
        left.setdefault(reading, []).append((typed, kind, words))
    out: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        records = Path(folder) / "climb.jsonl"
        with Screen(ROOT / "examples" / f"{name}.toml", "--quick", "--records", records) as screen:
            screen.wait("Enter", 60.0)

            def reading(number: str, text: str) -> str:
                here = of[number]
                if not left.get(here):
                    screen.send(healthy(by_id[here]) + "\n")
                    return ""
                typed, kind, words = left[here].pop(0)
                told = " ".join(screen.send(typed + "\n").split())
                named = "✓ go on" in told if not kind else words in told
                out.append(f"  {here}: {typed}: {kind or 'nothing'} {'told' if named else 'NOT TOLD'}")
                return ""

            while "is climbed" not in answers(screen, {}, reading):
                pass
    return [f"{name}: {len(out)} slips typed at the terminal", *out]


def killed(times: int, seed: int = 5) -> str:
    """SIGKILL at random moments of a climb, then resumed: is every line that was acknowledged still there?"""
    from player import healthy, ladder
    from terminal import Screen
    from test_terminal import answers

    name = NAMES["b"]
    of, by_id, rng = numbers(name), ladder(name).expected.by_id, random.Random(seed)  # noqa: S311 - moments, no secrets
    lost, again, seen = 0, 0, 0
    with tempfile.TemporaryDirectory() as folder:
        records = Path(folder) / "climb.jsonl"
        for _ in range(times):
            words = ["--resume"] if records.exists() and records.stat().st_size else []
            with Screen(ROOT / "examples" / f"{name}.toml", "--quick", "--records", records, *words) as screen:
                screen.wait("Enter|STOP IF|MAKE SAFE|Type yes|clip", 60.0)
                acknowledged: list[str] = []
                for _ in range(rng.randint(0, 25)):
                    answers(screen, {}, lambda n, t: "")
                    shown = re.search(r"Rung (\w+)\..*?(\d+/\d+)\n", screen.text)
                    if shown is None or "STOP IF" not in screen.text:
                        break
                    reading = of[f"{shown[1]} {shown[2]}"]
                    if "to wait yet" not in screen.send(
                        healthy(by_id[reading]) + "\n"
                    ):  # else refused, and asked again
                        acknowledged.append(reading)
                os.write(screen.fd, b"38.") if rng.random() < 0.5 else None
                time.sleep(rng.random() * 0.02)
                ended = screen.process.poll() is not None
                if not ended:
                    os.killpg(screen.process.pid, signal.SIGKILL)
                screen.process.wait()
            seen += bool(acknowledged)
            lines = records.read_text(encoding="utf-8")
            lost += any(f'"{one}"' not in lines for one in acknowledged)
            again += bool(words)
            if ended:  # at the top: nothing is left to kill, the next begins below; a copy would bring the file back
                records.unlink()
                Path(f"{records}.copy").unlink()
    return f"{name}: {times} kills, {seen} with an answer just acknowledged, {lost} lost, {again} resumed"


if __name__ == "__main__":
    main()
