"""Structural mistakes in files: each is told at its line, and the remedy, pasted, makes the file good again."""

import re
from pathlib import Path

import pytest

from firstglow.amplifier import AmplifierError, load
from firstglow.amplifier.model import Problem

EXAMPLES = Path(__file__).parents[2] / "examples"
SINGLE = (EXAMPLES / "b-hazel-four.toml").read_text(encoding="utf-8")  # single-ended, cathode bias
TWIN = (EXAMPLES / "a-linden-twin.toml").read_text(encoding="utf-8")  # two channels, fixed bias
ULTRA = (EXAMPLES / "c-sorrel-twenty.toml").read_text(encoding="utf-8")  # push-pull, silicon bridge, lifted heaters

# name: (file, old, new, part that is told of, words of the finding, what the remedy is pasted over if it is a joint)
MISTAKES: dict[str, tuple[str, str, str, str, str, str | None]] = {
    "grid joint misspelt": (
        SINGLE,
        'R11 = ["1k 0.5W 5%", "drive", "V2 grid"]',
        'R11 = ["1k 0.5W 5%", "drivve", "V2 grid"]',
        "R11",
        "did you mean drive",
        '"drivve"',
    ),
    "HT node misspelt": (
        ULTRA,
        'R2 = ["22k 1W 5%", "HT2", "HT3"]',
        'R2 = ["22k 1W 5%", "HTT2", "HT3"]',
        "R2",
        "did you mean HT2",
        '"HTT2"',
    ),
    "a loose end nobody meant": (
        SINGLE,
        'R3 = ["220k 2W 10%", "HT1", "chassis"]',
        'R3 = ["220k 2W 10%", "HT1", "xylophone"]',
        "R3",
        "nothing but R3 2 is on joint xylophone",
        None,
    ),
    "grid without a leak": (
        SINGLE,
        'R10 = ["470k 0.5W 5%", "drive", "chassis"]\n',
        "",
        "V2",
        "no dc path|no leak",
        None,
    ),
    "bias leak left out": (
        TWIN,
        'R22 = ["220k 0.5W 5%", "drive a", "bias a"]\n',
        "",
        "V3",
        "no dc path|no leak|nothing but",
        None,
    ),
    "plate load left out": (
        SINGLE,
        'R6 = ["220k 1W 5%", "HT3", "V1 plate"]\n',
        "",
        "V1",
        "its plate is fed from nowhere",
        None,
    ),
    "screen on a node that is not there": (
        ULTRA,
        'R15 = ["470R 2W 5%", "T2 screen a", "V2 screen"]',
        'R15 = ["470R 2W 5%", "screen feed", "V2 screen"]',
        "V2|R15",
        "its screen is fed from nowhere|nothing but",
        None,
    ),
    "cathode resistor left out": (
        SINGLE,
        'R12 = ["240R 2W 5%", "V2 cathode", "chassis"]\n',
        "",
        "V2",
        "its cathode goes nowhere",
        None,
    ),
    "bypass the wrong way round": (
        SINGLE,
        'C6 = ["100u 25V", "V2 cathode", "chassis"]',
        'C6 = ["100u 25V", "chassis", "V2 cathode"]',
        "C6",
        "wrong way round",
        None,
    ),
    "reservoir the wrong way round": (
        ULTRA,
        'C2 = ["47u 550V", "HT1", "chassis"]',
        'C2 = ["47u 550V", "chassis", "HT1"]',
        "C2",
        "wrong way round",
        None,
    ),
    "bias electrolytic with its plus on the rail": (
        TWIN,
        'C4 = ["47u 100V", "chassis", "bias raw"]',
        'C4 = ["47u 100V", "bias raw", "chassis"]',
        "C4",
        "wrong way",
        None,
    ),
    "output valve on the rectifier's 5 V": (
        TWIN,
        'V3 = ["6V6GT", { plate = "T2 plate a", heater = "T1 heat"',
        'V3 = ["6V6GT", { plate = "T2 plate a", heater = "T1 rect"',
        "V3",
        "its heater of 6.3 V gets about",
        None,
    ),
    "rectifier on 6.3 V": (
        TWIN,
        'heater = "T1 rect" }]',
        'heater = "T1 heat" }]',
        "V9",
        "its heater of 5 V gets about",
        None,
    ),
    "ultralinear screens exchanged": (
        ULTRA,
        'R15 = ["470R 2W 5%", "T2 screen a", "V2 screen"]',
        'R15 = ["470R 2W 5%", "T2 screen b", "V2 screen"]',
        "V2",
        "its screen is on tap screen b",
        '"T2 screen b"',
    ),
    "half the heater winding shorted by its second reference": (
        SINGLE,
        "J1 = [",
        'W5 = ["wire", "T1 heat 2", "chassis"]\nJ1 = [',
        "W5",
        "winding heat b is shorted",
        None,
    ),
    "HT winding shorted by a wire": (
        ULTRA,
        "J1 = [",
        'W5 = ["wire", "T1 ht 1", "T1 ht 2"]\nJ1 = [',
        "W5",
        "winding ht is shorted",
        None,
    ),
    "heater and HT windings tied at both ends": (
        ULTRA,
        "J1 = [",
        'W5 = ["wire", "T1 ht 1", "T1 heat 1"]\nW6 = ["wire", "T1 ht 2", "T1 heat 2"]\nJ1 = [',
        "W",
        "shorted together",
        None,
    ),
    "centre tap of HT left open": (
        TWIN,
        '"ht ct" = "chassis" }',
        '"ht ct" = "nowhere" }',
        "T1",
        "did you mean chassis",
        '"nowhere"',
    ),
    "output transformer's centre on a node that is not there": (
        ULTRA,
        'centre = "HT2", common',
        'centre = "HT8", common',
        "T2",
        "nothing but T2 centre",
        None,
    ),
    "secondary off chassis": (
        SINGLE,
        'centre = "HT2", common = "chassis"',
        'centre = "HT2", common = "ground2"',
        "T2",
        "did you mean chassis",
        '"ground2"',
    ),
    "no bias at all": (
        SINGLE,
        'R12 = ["240R 2W 5%", "V2 cathode", "chassis"]',
        'R12 = ["10R 2W 5%", "V2 cathode", "chassis"]',
        "V2",
        "it has no bias",
        None,
    ),
}


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(AmplifierError) as caught:
        load(text, name="x.toml")
    for problem in caught.value.problems:
        assert re.fullmatch(r"x\.toml:[1-9]\d*: .+: .+; .+; try .+", problem.text), problem.text
    return caught.value.problems


def good(text: str) -> bool:
    try:
        load(text, name="x.toml")
    except AmplifierError:
        return False
    return True


def pasted(text: str, problem: Problem, over: str | None) -> str:
    """The file with a remedy pasted the way a person would: a line added or replaced, a key into the part's line."""
    remedy = problem.remedy
    line = re.match(r"([A-Z]\w*) = \[", remedy)
    if line is not None:
        own = re.compile(rf"^{line.group(1)} = \[.*$", re.MULTILINE)
        if own.search(text):
            return own.sub(lambda _: remedy, text, count=1)
        table = "[channel]" if "[channel]" in text and not _shared(text, problem) else "[parts]"
        table = table if table in text else "[shared]"
        at = text.index("\n", text.index(f"\n{table}") + 1) + 1
        return text[:at] + remedy + "\n" + text[at:]
    if remedy.startswith("floating"):
        head = "amplifier = { " if "amplifier = { " in text else "[amplifier]\n"
        return text.replace(head, head + remedy + (", " if "{" in head else "\n"), 1)
    key = re.match(r"(\w+) = ", remedy)
    if key is not None:
        lines = text.split("\n")
        row = problem.line - 1
        old = re.search(rf'{key.group(1)} = "[^"]*"', lines[row])
        lines[row] = (
            lines[row].replace(old.group(), remedy) if old else lines[row].replace("{ ", "{ " + remedy + ", ", 1)
        )
        return "\n".join(lines)
    if remedy.endswith("taken out"):
        return "\n".join(x for x in text.split("\n") if not x.startswith(remedy.split(" ")[0] + " = "))
    assert over is not None, remedy
    return text.replace(over, remedy, 1)


def _shared(text: str, problem: Problem) -> bool:
    """Whether the problem's line stands in the [shared] table."""
    return problem.line <= text[: text.index("[channel]")].count("\n")


@pytest.mark.parametrize("name", MISTAKES)
def test_the_mistake_is_told_and_its_remedy_works_when_pasted(name: str) -> None:
    text, old, new, part, words, over = MISTAKES[name]
    assert text.count(old) == 1 or old in text, old
    bad = text.replace(old, new, 1)
    found = problems(bad)
    mine = [p for p in found if re.search(part, p.part) and re.search(words, p.found)]
    assert mine, [p.text for p in found]
    for _ in range(4):  # a mistake that shows in both channels, or in two ways, needs its remedies one after another
        if good(bad):
            return
        now = problems(bad)
        bad = pasted(bad, now[0], over)
    assert good(bad), ([p.text for p in found], [p.text for p in problems(bad)])
