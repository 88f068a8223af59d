"""Marks on a fuse's cap: IEC 60127-1's order of class, amps, breaking capacity and volts (T315mAL250V)."""

import re
from dataclasses import dataclass

CLASSES = {
    "FF": "very quick", "F": "quick", "M": "middling", "T": "time-lag", "TT": "very slow",
}  # fmt: skip
"""IEC 60127-1."""
BREAKS = {
    "L": "low: 35 A or 10 times its mark, whichever is more",
    "E": "enhanced: 150 A",
    "H": "high: 1500 A",
}
"""IEC 60127-2, from memory."""
_MARK = re.compile(r"(FF|TT|F|M|T)\s*(\d+(?:\.\d+)?)\s*(mA|A)\s*([LEH])?\s*/?\s*(?:(\d{2,4})\s*V?~?)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class FuseMark:
    """speed: class letters; amps [A]; breaking: L, E, H, None where not marked; volts: ac, None where not marked."""

    speed: str
    amps: float
    breaking: str | None
    volts: float | None

    def row(self) -> dict[str, object]:
        """Of the document."""
        return {"class": self.speed, "amps": self.amps, "breaking": self.breaking, "volts": self.volts}

    def shown(self) -> list[str]:
        """In bench words."""
        amps = f"{self.amps:g} A" if self.amps >= 1.0 else f"{1e3 * self.amps:g} mA"
        breaks = BREAKS[self.breaking] if self.breaking else "not marked: taken as low"
        lines = [f"fuse: {amps}, {CLASSES[self.speed]} ({self.speed})", f"breaking capacity {breaks}"]
        if self.volts is not None:
            lines.append(f"{self.volts:g} V~: for ac; dc of HT takes one that is marked for dc")
        word = {"T": "slow", "TT": "slow", "F": "fast", "FF": "fast"}.get(self.speed)
        if word:
            lines.append(
                f'in the file: "fuse {f"{self.amps:g}A" if self.amps >= 1.0 else f"{1e3 * self.amps:g}m"} {word}"'
            )
        return [*lines, "read as: IEC 60127"]


def read_fuse(text: str) -> FuseMark | None:
    """A fuse's mark; None for what is none. Its class comes first and its amps have their unit: T315 alone is none."""
    m = _MARK.fullmatch(text.strip())
    if m is None:
        return None
    amps = float(m[2]) * (1e-3 if m[3].lower() == "ma" else 1.0)
    return FuseMark(m[1].upper(), amps, m[4].upper() if m[4] else None, float(m[5]) if m[5] else None)
