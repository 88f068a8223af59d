"""What is live on a rung, in words: every joint named, those of about the same volts together."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

TOGETHER = 0.93  # joints above this part of the highest of a group stand in that group
KINDS = {"dc": "V", "crest": "V at the crest", "ac": "V ac", "mains": "V, on the mains"}
ELECTRODE = re.compile(r"(V\w+) (\w+)")


def live_text(live: Sequence[Mapping[str, Any]]) -> str:
    """``LIVE about 375 V: HT1, V3 and V4 plate; ...``; "" where nothing is. Never shortened: the one left out is the one touched.

    live: the rung's list, {"joint", "volts", "kind"}, the highest first and the mains last.
    """
    groups: list[tuple[str, float, list[str]]] = []
    for item in sorted(live, key=lambda i: (list(KINDS).index(i["kind"]), -i["volts"])):
        kind, volts = str(item["kind"]), float(item["volts"])
        if groups and groups[-1][0] == kind and volts > TOGETHER * groups[-1][1]:
            groups[-1][2].append(str(item["joint"]))
        else:
            groups.append((kind, volts, [str(item["joint"])]))
    texts = [
        f"{'about ' if kind != 'mains' else ''}{volts:.0f} {KINDS[kind]}: {joined(names)}"
        for kind, volts, names in groups
    ]
    return "LIVE " + "; ".join(texts) if texts else ""


def joined(names: Sequence[str]) -> str:
    """Names with commas, valves that share an electrode's name told once: ``V3, V4 and V7 plate``."""
    shared: dict[str, list[str]] = {}
    for name in names:
        match = ELECTRODE.fullmatch(name)
        shared.setdefault(match[2] if match else name, []).append(match[1] if match else "")
    return ", ".join(f"{_and(who)} {what}" if who != [""] else what for what, who in shared.items())


def _and(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]
