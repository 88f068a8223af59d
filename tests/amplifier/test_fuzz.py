"""Whatever is in the file: an Amplifier or an AmplifierError, never anything else, and soon."""

import random
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstglow.amplifier import Amplifier, AmplifierError, BenchError, load, load_bench
from firstglow.amplifier.what import read_what
from firstglow.amplifier.windings import read_winding
from firstglow.quantities import QuantityError

ROOT = Path(__file__).parents[2]
TEXTS = [f.read_text(encoding="utf-8") for f in sorted((ROOT / "examples").rglob("*.toml"))]
TEXTS.append((ROOT / "tests" / "data" / "linden-sparse.toml").read_text(encoding="utf-8"))


def survives(text: str | bytes) -> None:
    start = time.process_time()
    try:
        amplifier = load(text)
    except AmplifierError as error:
        assert error.problems
        for problem in error.problems:
            assert problem.line >= 1
            assert problem.text.isprintable()
            assert len(problem.text) < 2500
    else:
        assert isinstance(amplifier, Amplifier)
        for part in amplifier.parts.values():
            for quantity in part.values.values():
                assert abs(quantity.value) < 1e16
                assert 0 <= quantity.spread <= 10
    assert time.process_time() - start < 20


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.binary(max_size=400))
def test_bytes(raw: bytes) -> None:
    survives(raw)


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=300))
def test_text(text: str) -> None:
    survives("\n" + text)


WORD_LIST = """220k 0.1u 6V6GT EF86 12AX7 GZ34 choke fuse pot preset selenium silicon 1N4007 0A2 lamp wire supply
input load inlet mains transformer output single-ended switch standby film electrolytic 5% ±5% 8H 160m 120R 450V
50+50u 1e9 -5k nan inf 4k7 plates 4 log HT1 chassis V1 V1a plate grid T1 ht 1 heat ct open 300-0-300V 6.3V 4A left
right channel in line neutral earth R1 C1 + - { } [ ] = # 6GT 6kM"""
WORDS = st.sampled_from(WORD_LIST.split())
PLACE = st.lists(WORDS, min_size=1, max_size=4).map(" ".join)


@settings(max_examples=300, deadline=None)
@given(PLACE)
def test_first_texts_and_windings(text: str) -> None:
    for reader in (lambda: read_what(text), lambda: read_winding("w", text)):
        try:
            reader()
        except QuantityError as error:
            assert error.found
            assert error.remedy


KEYS = st.sampled_from(
    [
        "plate",
        "grid",
        "cathode",
        "heater",
        "1",
        "2",
        "+",
        "ohms",
        "idle",
        "set_by",
        "link",
        "taps",
        "ht",
        "primary",
        "heat",
        "test",
        "position",
        "gang",
        "raa_ohms",
    ]
)
SCALAR = PLACE | st.integers(-5, 10**30) | st.floats() | st.booleans()
VALUE = st.recursive(
    SCALAR, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3), max_leaves=6
)


def toml(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{k}" = {toml(v)}' for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(toml(v) for v in value) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.replace("\\", "") + '"'
    return str(value)


NAMES = st.sampled_from(
    [
        "T1",
        "T2",
        "V1",
        "V1a",
        "V1b",
        "V2",
        "R1",
        "R2",
        "C1",
        "D1",
        "L1",
        "P1",
        "F1",
        "S1",
        "J1",
        "LS",
        "B1",
        "x y",
        "T1 ht",
    ]
)
LINE = st.lists(SCALAR | st.dictionaries(KEYS, VALUE, max_size=4) | VALUE, min_size=1, max_size=5) | VALUE
HEAD = 'format = 1\namplifier = { name = "x", mains = "230V", channels = ["left", "right"] }\n'


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.dictionaries(NAMES, LINE, max_size=5),
    st.dictionaries(NAMES, LINE, max_size=5),
    st.dictionaries(NAMES, LINE, max_size=2),
    st.dictionaries(
        st.sampled_from(["kind", "set", "add", "remove", "rejoin", "uncertainty"]),
        VALUE | st.dictionaries(NAMES, LINE, max_size=2),
        max_size=3,
    ),
    st.sampled_from(["found", "measured", "changed"]),
    st.booleans(),
)
def test_part_lines_of_every_shape(
    shared: dict, channel: dict, right: dict, layer: dict, kind: str, fragment: bool
) -> None:
    text = HEAD + f"fragment = {str(fragment).lower()}\n"
    for name, table in (("shared", shared), ("channel", channel), ("right", right)):
        text += f"[{name}]\n" + "".join(f'"{k}" = {toml(v)}\n' for k, v in table.items())
    layer = {"kind": kind, **{k: v for k, v in layer.items() if k != "kind"}}
    survives(text + "[[layer]]\n" + "".join(f"{k} = {toml(v)}\n" for k, v in layer.items()))


@pytest.mark.parametrize("seed", range(300))
def test_examples_with_something_spoilt(seed: int) -> None:
    """Lines deleted, doubled or swapped, words exchanged, characters dropped: what a tired hand does to a good file."""
    rng = random.Random(seed)  # noqa: S311
    text = rng.choice(TEXTS)
    for _ in range(rng.randint(1, 4)):
        lines = text.split("\n")
        at = rng.randrange(len(lines))
        action = rng.randrange(6)
        if action == 0:
            del lines[at]
        elif action == 1:
            lines.insert(at, rng.choice(lines))
        elif action == 2:
            words = lines[at].split(" ")
            words[rng.randrange(len(words))] = rng.choice(rng.choice(lines).split(" "))
            lines[at] = " ".join(words)
        elif action == 3 and lines[at]:
            drop = rng.randrange(len(lines[at]))
            lines[at] = lines[at][:drop] + lines[at][drop + 1 :]
        elif action == 4:
            quoted = lines[at].split('"')
            other = rng.choice(lines).split('"')
            if len(quoted) > 2 and len(other) > 2:
                quoted[1 + 2 * rng.randrange(len(quoted) // 2)] = other[1 + 2 * rng.randrange(len(other) // 2)]
            lines[at] = '"'.join(quoted)
        else:
            lines[at] = lines[at].replace(rng.choice("kuRVm59"), rng.choice(["", "m", "-", "e9", "Ω", "\x00"]), 1)
        text = "\n".join(lines)
    survives(text)


@settings(max_examples=150, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(
            ["mains", "lamps", "leads", "words", "meters", "dummy_load", "meters_at_once", "variable_transformer"]
        ),
        VALUE,
        max_size=4,
    )
)
def test_bench_files(table: dict) -> None:
    text = "format = 1\n" + "".join(f"{k} = {toml(v)}\n" for k, v in table.items())
    try:
        load_bench(text)
    except BenchError as error:
        assert error.problems
