"""The transformer's line of the amplifier file, and which bench lead is which lead of it."""

from dataclasses import dataclass
from itertools import pairwise

from firstglow.windings.coils import Coil
from firstglow.windings.guess import Use, marked
from firstglow.windings.rating import winding_amps
from firstglow.windings.study import Study


@dataclass(frozen=True, slots=True)
class Written:
    """One winding as written. name, text: key and value of the file; leads: lead of the file to lead of the bundle (two
    bundle leads where they are joined); volts: from end to end; amps: guessed, None where the ohms were too few to tell."""

    name: str
    text: str
    leads: dict[str, str]
    volts: float
    ohms: float
    amps: float | None


def written(study: Study) -> tuple[Written, ...]:
    """Every winding, the primary first; empty where the study is refused or not confirmed."""
    chosen = study.chosen
    if chosen is None or study.refused:
        return ()
    mine = [next(c for c in study.coils if s[0] in c.leads) for s in chosen.spans]
    out = [_primary(study, mine)]
    counts: dict[str, int] = {}
    for coil in (c for c in study.coils if c not in mine):
        use = chosen.uses[coil.leads[0]]
        counts[use.word] = counts.get(use.word, 0) + 1
        name = use.word + (str(counts[use.word]) if counts[use.word] > 1 else "")
        out.append(_secondary(study, coil, use, name))
    return tuple(out)


def _figure(value: float) -> str:
    return f"{float(f'{value:.4g}'):g}"


def _ohms(value: float) -> str:
    return f"{max(float(f'{value:.3g}'), 0.001):f}".rstrip("0").rstrip(".")


def _primary(study: Study, mine: list[Coil]) -> Written:
    chosen = study.chosen
    assert chosen is not None
    if len(mine) == 2:
        (a, b), (c, d) = chosen.spans
        c, d = (d, c) if study.flipped else (c, d)
        one, two = mine[0].ohms[-1], mine[1].ohms[-1]
        if chosen.joined == "series":
            half = _figure(chosen.mark / 2)
            leads = {"primary 0": a, f"primary {half}": f"{b} + {c}", f"primary {_figure(chosen.mark)}": d}
            return Written(
                "primary",
                f"0-{half}-{_figure(chosen.mark)}V {_ohms(one)}+{_ohms(two)}R",
                leads,
                chosen.mark,
                one + two,
                None,
            )
        both = one * two / max(one + two, 1e-9)
        return Written("primary", f"{_figure(chosen.mark)}V {_ohms(both)}R", {"primary 1": f"{a} + {c}", "primary 2": f"{b} + {d}"},
                       chosen.mark, both, None)  # fmt: skip
    # from the end that the mains go on; where they are on both, from the end that its taps are marked from
    ends, sides = {*chosen.spans[0]}, (mine[0], mine[0].turned())
    coil = max(
        sides, key=lambda c: (c.leads[0] in ends, sum(marked(chosen.per_turn * t) for t in c.turns if t > c.turns[0]))
    )
    return _text(coil, "primary", [chosen.per_turn * t for t in coil.turns], None, "", marks=True)


def _secondary(study: Study, coil: Coil, use: Use, name: str) -> Written:
    chosen = study.chosen
    assert chosen is not None and study.va is not None
    volts = [chosen.per_turn * t for t in coil.turns]
    spread = min(max(100 * (coil.doubt + 0.01), 1.0), 15.0)
    amps = None
    if coil.ohms_known:
        rectified = use.word in {"ht", "bias"}
        part = 0.5 if rectified and coil.middle is not None else 1.0
        amps = winding_amps(part * volts[-1], part * coil.ohms[-1], study.va, rectified)
    return _text(coil, name, volts, amps, f"±{spread:.2g}% open")


def _text(coil: Coil, name: str, volts: list[float], amps: float | None, tail: str, marks: bool = False) -> Written:
    middle = None if marks else coil.middle
    words = [""]
    if len(volts) == 2:
        words, leads = [f"{_figure(volts[-1])}V"], ["1", "2"]
    elif middle is None:
        steps = [_figure(v) for v in volts]
        words, leads = [f"0-{'-'.join(steps[1:])}V"], ["0", *steps[1:]]
    else:
        steps = [_figure(abs(v - volts[middle])) for v in volts]
        leads = ["1", *(f"{s}a" for s in steps[1:middle]), "ct", *(f"{s}b" for s in steps[middle + 1 : -1]), "2"]
        words = ["-".join([*steps[:middle], "0", *steps[middle + 1 :]]) + "V"]
    if amps is not None:
        words.append(f"{float(f'{amps:.2g}') * 1000:g}m")
    if coil.ohms_known:
        words.append("+".join(_ohms(b - a) for a, b in pairwise(coil.ohms)) + "R")
    named = {f"{name} {lead}": bench for lead, bench in zip(leads, coil.leads, strict=True)}
    return Written(name, " ".join(w for w in (*words, tail) if w), named, volts[-1], coil.ohms[-1], amps)


def section(study: Study) -> str | None:
    """The text to paste under ``[parts]`` or ``[shared]``; None where nothing may be written yet."""
    rows = written(study)
    if not rows or study.chosen is None or study.question is not None:
        return None
    lines = [
        f"# {study.facts.name}: an unknown transformer, measured. Volts are open, at {study.chosen.mark:g} V on the primary.",
        f"# Guessed: rating about {study.va or 0:.0f} VA, {100 * study.va_room:.0f} % either way.",
    ]
    for row in rows:
        lines.append(f"# {row.name}: " + ", ".join(f"{lead} is lead {bench}" for lead, bench in row.leads.items()))
        if row.amps is not None:
            lines.append(f"#   guessed from its ohms: {row.amps:.2g} A, 60 % either way")
    lines += [f"# Lead {lead}: joined to no other; a static screen goes to the earth stud." for lead in study.single]
    lines += [f"# Doubt: {text}" for text in study.doubts]
    body = ", ".join(f'{row.name} = "{row.text}"' for row in rows)
    return "\n".join([*lines, f'{study.facts.name} = ["mains transformer", {{ {body} }}]'])
