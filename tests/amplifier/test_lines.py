"""The line index: every key of every example, against a plain search of the text."""

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstglow.amplifier.lines import dotted, line_index

ROOT = Path(__file__).parents[2]
FILES = sorted(ROOT.glob("examples/*.toml")) + sorted(ROOT.glob("tests/data/*.toml"))


def paths(value: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield (*path, key), inner
            yield from paths(inner, (*path, key))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield (*path, str(number)), inner
            yield from paths(inner, (*path, str(number)))


@pytest.mark.parametrize("file", FILES, ids=[f.name for f in FILES])
def test_every_key_of_every_example(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    index = line_index(text)
    lines = text.split("\n")
    count = 0
    for path, value in paths(tomllib.loads(text)):
        line = lines[index[path] - 1]
        count += 1
        if not path[-1].isdigit():
            assert path[-1] in line, (path, line)
        if isinstance(value, str):
            assert value in line, (path, value, line)
    assert count > 20
    assert set(index) == {p for p, _ in paths(tomllib.loads(text))}


HARD = '''
# a comment = "not a key"
a = 1
"b c" = "x # not a comment"
'd.e' = """
line = 2
"""
f.g.h = [ 1, # one
  [2, {i = 3, "j" = 4}],
  """]""",
]
[k.l]
m = {n.o = 1, p = 'q = r'}
[[s]]
t = 1
[[s]]
t = 2
[s.u]
v = 3
[[s.w]]
x = 4
"\\u00e4" = 5
y = 1979-05-27T07:32:00Z # date
z = """a""\\""" b"""
aa = \'\'\'it's\'\'\'
'''


def test_hard_toml() -> None:
    index = line_index(HARD)
    assert set(index) == {p for p, _ in paths(tomllib.loads(HARD))}
    lines = HARD.split("\n")
    for path, where in (
        (("a",), "a = 1"),
        (("b c",), '"b c"'),
        (("d.e",), "'d.e'"),
        (("f", "g", "h", "1", "1", "j"), '[2, {i = 3, "j" = 4}],'),
        (("k", "l", "m", "n", "o"), "m = {n.o"),
        (("s", "1", "t"), "t = 2"),
        (("s", "1", "u", "v"), "v = 3"),
        (("s", "1", "w", "0", "x"), "x = 4"),
        (("s", "1", "w", "0", "ä"), '"\\u00e4"'),
        (("s", "1", "w", "0", "aa"), "aa = "),
    ):
        assert lines[index[path] - 1].startswith(where) or where in lines[index[path] - 1], path


def test_a_path_is_written_as_one_would() -> None:
    assert dotted(("layer", "0", "set", "right R10")) == 'layer.0.set."right R10"'


KEY = st.text("abc-_12", min_size=1, max_size=4) | st.text(min_size=1, max_size=3)
VALUE = st.recursive(
    st.integers(0, 99) | st.text(max_size=6) | st.booleans(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEY, inner, max_size=3),
    max_leaves=8,
)


def toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{quoted(k)} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[\n" + ",\n".join(toml(v) for v in value) + "\n]"
    if isinstance(value, bool):
        return str(value).lower()
    return str(value) if isinstance(value, int) else quoted(value)


def quoted(text: str) -> str:
    return '"' + "".join(c if c.isalnum() and c.isascii() else f"\\U{ord(c):08x}" for c in text) + '"'


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(KEY.filter(lambda k: all(ord(c) < 0xD800 or ord(c) > 0xDFFF for c in k)), VALUE, max_size=4))
def test_any_toml_has_the_same_keys_as_the_parser_says(data: dict[str, Any]) -> None:
    text = "".join(f"{quoted(k)} = {toml(v)}\n" for k, v in data.items())
    try:
        parsed = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert set(line_index(text)) == {p for p, _ in paths(parsed)}
