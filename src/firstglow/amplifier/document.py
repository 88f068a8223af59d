"""Opens an amplifier file: TOML with exact decimals, its line index, and what must be true of any such file."""

import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path as FilePath
from typing import Any

from firstglow.amplifier.doubles import Double, one_name_a_part
from firstglow.amplifier.lines import line_index
from firstglow.amplifier.mistakes import Mistakes, nearest, short

FORMAT = 1
LARGEST = 256 * 1024  # bytes; a large amplifier with its chassis is about 30 kB
DEEPEST = 12
KEYS = ("format", "amplifier", "fragment", "shared", "parts", "channel", "names", "spread", "layer", "chart", "intake")
RESERVED = ("chassis", "wire")
_CHANNEL = re.compile(r"[a-z][a-z0-9_]{0,15}")


@dataclass
class Document:
    """An opened file: its data, and where mistakes go."""

    data: dict[str, Any]
    mistakes: Mistakes


def open_document(source: str | FilePath | bytes, name: str = "", keys: tuple[str, ...] = KEYS) -> Document:
    """Open a path, or a text that has a line break in it; raises AmplifierError for what cannot be read at all.

    keys: top-level keys that a file of this sort may have.
    """
    file, raw = _bytes(source, name)
    mistakes = Mistakes(file, {})
    text = _text(raw, mistakes)
    mistakes.stop()
    _depth(text, mistakes)
    mistakes.stop()
    text = text.replace("\r\n", "\n")
    doubles: list[Double] = []
    try:
        try:
            data = tomllib.loads(text, parse_float=_exact)
        except tomllib.TOMLDecodeError as error:
            named, doubles = one_name_a_part(text) if keys is KEYS and "overwrite" in str(error) else (text, [])
            if not doubles:
                raise
            data, text = tomllib.loads(named, parse_float=_exact), named
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"at line (\d+)", str(error))
        where = int(line.group(1)) if line else text.count("\n") + 1
        what = re.sub(r" \(at .*\)$", "", str(error))
        opened = _unclosed(text)
        if opened is not None and opened < where:
            where, what = opened, "a bracket opened on this line is not closed"
        shown = text.split("\n")[where - 1].strip() if where <= text.count("\n") + 1 else ""
        mistakes.add(
            where,
            "file",
            f"not TOML: {what}: {shown[:60]}",
            'TOML: name = ["what it is", "joint", "joint"]',
            'R1 = ["220k", "HT1", "V1 plate"]',
        )
    except (RecursionError, ValueError, OverflowError) as error:
        mistakes.add(
            1,
            "file",
            f"not TOML that can be read: {type(error).__name__}",
            "TOML 1.0",
            'R1 = ["220k", "HT1", "V1 plate"]',
        )
    mistakes.stop()
    try:
        mistakes.lines = line_index(text)
    except (RecursionError, ValueError, IndexError):  # our own walk is for messages only
        mistakes.lines = {}
    for double in doubles:
        mistakes.broken = True  # which of the two is meant is not known, so neither is judged with the rest
        found = f"a part on line {double.first} and another on line {double.second}"
        mistakes.add(double.second, double.name, found, "one name a part", double.free)
    document = Document(data, mistakes)
    _format(document, keys)
    return document


def _exact(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:
        return Decimal("NaN")  # refused where it is used, with its line


def _bytes(source: str | FilePath | bytes, name: str) -> tuple[str, bytes]:
    if isinstance(source, bytes):
        return name or "text", source
    if isinstance(source, str) and ("\n" in source or not source):
        return name or "text", source.encode("utf-8", "surrogatepass")
    path = FilePath(source)
    file = name or str(source)
    mistakes = Mistakes(file, {})
    try:
        if path.is_dir():
            mistakes.add(1, "file", "this is a folder", "an amplifier file", f"{path}/b-example.toml")
        else:
            with path.open("rb") as stream:
                raw = stream.read(LARGEST + 1)
            return file, raw
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "cannot be opened"
        mistakes.add(1, "file", str(reason), "an amplifier file that can be read", "another path")
    mistakes.stop()
    raise AssertionError("unreachable")


def _text(raw: bytes, mistakes: Mistakes) -> str:
    if len(raw) > LARGEST:
        mistakes.add(
            1, "file", f"more than {LARGEST // 1024} kB", "an amplifier file of at most 256 kB", "the right file"
        )
        return ""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        mistakes.add(
            line, "file", f"byte {raw[error.start]:#04x} is not UTF-8", "a text file in UTF-8", "saving it as UTF-8"
        )
        return ""
    if not text.strip():
        mistakes.add(1, "file", "the file is empty", "an amplifier", f"format = {FORMAT}")
    return text


def _unclosed(text: str) -> int | None:
    """Line on which a bracket is opened that still stands open where the next ``name = `` begins, or None."""
    opened: list[int] = []
    tokens = r'"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}]|^[ \t]*[\w-]+[ \t]*='
    for match in re.finditer(tokens, text, re.MULTILINE):
        sign = match.group()
        if sign in "[{":
            opened.append(text.count("\n", 0, match.start()) + 1)
        elif sign in "]}":
            opened = opened[:-1]
        elif sign.endswith("=") and sign.lstrip()[0] not in "\"'#" and "[" in text[match.end() :][:3] and opened:
            return opened[0]
    return opened[0] if opened else None


def _depth(text: str, mistakes: Mistakes) -> None:
    """Brackets nested deeper than any part needs are refused before a parser sees them."""
    depth = 0
    for match in re.finditer(r'"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}]', text):
        sign = match.group()
        if sign in "[{":
            depth += 1
            if depth > DEEPEST:
                mistakes.add(
                    text.count("\n", 0, match.start()) + 1,
                    "file",
                    "brackets nested too deep",
                    f"at most {DEEPEST}",
                    "[what, lead, lead, { more }]",
                )
                return
        elif sign in "]}":
            depth = max(0, depth - 1)


def _format(document: Document, keys: tuple[str, ...]) -> None:
    data, mistakes = document.data, document.mistakes
    found = data.get("format")
    if found is None:
        mistakes.add(1, "file", "format is missing", f"format = {FORMAT} as its first line", f"format = {FORMAT}")
    elif isinstance(found, bool) or not isinstance(found, int) or found < 1:
        mistakes.add(("format",), "file", f"format = {found!r}"[:60], f"format = {FORMAT}", f"format = {FORMAT}")
    elif found > FORMAT:
        mistakes.add(
            ("format",),
            "file",
            f"format {found} is newer than this firstglow",
            f"format up to {FORMAT}, or the firstglow that the file was written for",
            f"format = {FORMAT}",
        )
        mistakes.stop()
    channels = _channel_names(document) if keys is KEYS else []
    for key in data:
        if key in RESERVED and keys is KEYS:
            mistakes.add(
                (key,),
                "file",
                f"{key} is reserved for a later format and is not read yet",
                "a file without it",
                f"taking {key} out",
            )
        elif key not in keys and key not in channels:
            near = nearest(key, [*keys, *channels])
            mistakes.add(
                (key,),
                "file",
                f"unknown key {key[:40]!r}",
                "allowed: " + ", ".join([*keys, *channels]),
                near if near is not None and near not in data else f"taking {key[:40]} out",
            )
    for key in ("shared", "parts", "channel", "names", "spread", *channels):
        if key in data and key in {*keys, *channels} and not isinstance(data[key], dict):
            mistakes.add((key,), key, "this is no table", f"a table [{key}]", f"[{key}]")


def _channel_names(document: Document) -> list[str]:
    """The channels; raises where they cannot be told apart: every line of a channel would be a mistake of its own."""
    amplifier, mistakes = document.data.get("amplifier"), document.mistakes
    found = amplifier.get("channels", []) if isinstance(amplifier, dict) else []
    good = isinstance(found, list) and len(found) <= 8
    good = good and all(isinstance(c, str) and _CHANNEL.fullmatch(c) for c in found)
    if not good or len(set(found)) != len(found) or {*KEYS, *RESERVED, "line", "neutral", "earth"} & set(found):
        allowed, remedy = "different small-letter names, at most 8", 'channels = ["left", "right"]'
        mistakes.add(("amplifier", "channels"), "amplifier", f"channels = {short(found)}", allowed, remedy)
        mistakes.stop()
    return list(found)
