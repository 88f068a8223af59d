"""What a line that cannot stand was most likely meant to say, for the remedy behind its mistake."""

import re
from collections.abc import Mapping

from firstglow.amplifier.drafts import Draft
from firstglow.amplifier.model import Part


def bias_pots(drafts: Mapping[str, Draft], draft: Draft) -> list[str]:
    """The pots that a valve's ``set_by`` may name, the likely ones first: not ganged, not log, not another valve's."""
    taken = {str(d.words.get("set_by")) for d in drafts.values() if d.name != draft.name and d.channel == draft.channel}
    pots = [d for d in drafts.values() if d.kind == "pot" and d.channel in {draft.channel, None}]
    return [d.local for d in sorted(pots, key=lambda d: ("gang" in d.words, d.type == "log", d.local in taken))]


def other_joint(part: Part, joint: str, parts: Mapping[str, Part]) -> str:
    """What to put where a part has both leads on one joint: text to paste, or to take the part out.

    A dropper or choke goes to the rail's neighbour, HT2 to HT3; a capacitor from a rail to chassis, its plus lead where
    the rail's name says. Nothing else is sent anywhere by a guess, a wire least of all.
    """
    joints = {at for other in parts.values() for at in other.leads.values()}
    numbered = re.fullmatch(r"(.*?)(\d+)", joint)
    if part.kind in {"resistor", "choke"} and numbered:
        stem, number = numbered.group(1), int(numbered.group(2))
        for name in (f"{stem}{number + 1}", f"{stem}{number - 1}"):
            if name in joints:
                return f'"{name}"'
    if part.kind == "capacitor" and joint not in {"chassis", "line", "neutral", "earth"} and not part.words.get("can"):
        negative = re.search(r"bias|minus|neg|-", joint, re.IGNORECASE)
        return f'"chassis", "{joint}"' if negative else f'"{joint}", "chassis"'
    return f"taking {part.name.split(' ')[-1]} out"
