"""``firstglow start FILE``."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from firstglow.cli.output import AS, FILE, JSON, MAINS, mains_of, print_json, say

MOST_MARKS = 26
SAME = 0.1
"""Seconds between two valves' moments that are told as one."""
TELLING = 0.05
"""Seconds by which the bias is first that are worth a figure."""
REST = "Leave it off for a minute before it goes on again."
SHORT = {"past its working volts": "past working", "past its surge volts": "PAST SURGE", "rating unknown": "no rating"}


@click.command()
@FILE
@AS
@MAINS
@click.option("--seconds", type=click.FloatRange(30.0, 600.0), default=60.0, show_default=True, help="How long.")
@click.option("--svg", type=click.Path(path_type=Path), default=None, metavar="FILE", help="A picture of it.")
@click.option("--lamp", type=str, default=None, metavar="WATTS", help="Beside it, a start through this limiter lamp.")
@JSON
def command(
    file: Path, as_: str, mains_now: str | None, seconds: float, svg: Path | None, lamp: str | None, as_json: bool
) -> None:
    """A cold start over seconds: how high HT goes, whether bias or current comes first; then off and on again, hot.

    \b
    Example:  firstglow start examples/a-linden-twin.toml
              firstglow start examples/c-sorrel-twenty.toml --svg start.svg
              firstglow start examples/b-hazel-four.toml --lamp 60
    Without --mains-now on the highest mains that the file allows.
    """
    from firstglow.amplifier import load
    from firstglow.amplifier.options import situation_from_options
    from firstglow.audit.cold_start import cold_start
    from firstglow.audit.stored import at_worst

    amplifier = load(file, as_=as_)
    watts = situation_from_options(amplifier, lamp=lamp)[0].lamp_watts
    start = cold_start(amplifier, mains_of(amplifier, mains_now), seconds)
    marks = start_marks(start)
    if svg:
        from firstglow.sheets.seconds import seconds_svg

        lines = {n: start.course.dc(n)[:, 0] for n in start.nodes}
        title = f"{amplifier.name}: cold start on {start.mains:.0f} V"
        svg.write_text(
            seconds_svg(title, start.course.seconds, lines, marks[:MOST_MARKS], _worst(start)), encoding="utf-8"
        )
    kept = at_worst(amplifier, start.mains, met=start.highest)
    behind = None if watts is None else start.behind(watts, seconds)
    if as_json:
        print_json(start_document(start, kept, marks) | {"lamp": _lamp_document(behind)})
        return
    for line in _lines(start, kept, behind):
        say(line)
    if svg:
        say(f"\nPicture: {svg}")


def start_marks(start: Any) -> list[tuple[float, str]]:
    """The moments of the cold start, in order."""
    out = [(p.tenth, f"{p.joint} at a tenth of its volts") for p in start.peaks if p.tenth is not None]
    out += [
        (p.at, f"{p.joint} at its highest, {p.volts:.0f} V")
        for p in start.peaks
        if abs(p.volts) > 1.01 * abs(p.settled)
    ]
    cold = [v for v in start.valves if v.off is None]
    out += _of_valves([(v.conducts, v.valve) for v in cold], "draws a tenth of its idle", "draw a tenth of their idle")
    out += _of_valves(
        [(v.ready, v.valve) for v in cold if v.fixed], "has nine tenths of its bias", "have nine tenths of their bias"
    )
    return sorted(out)


def _worst(start: Any) -> tuple[str, Any] | None:
    """The highest joint that other warm-up times bring above its own curve, and that curve."""
    peak = max(start.peaks, key=lambda p: abs(p.high))
    if abs(peak.high) < 1.02 * abs(peak.volts):
        return None
    volts = start.course.dc(peak.joint)
    return f"{peak.joint} where the rectifier warms fast and all else slowly", volts[
        :, int(abs(volts).max(axis=0).argmax())
    ]


def _of_valves(when: list[tuple[float | None, str]], one: str, several: str) -> list[tuple[float, str]]:
    """What comes to several valves at nearly the same moment is one line."""
    out: list[tuple[float, list[str]]] = []
    for at, valve in sorted((at, valve) for at, valve in when if at is not None):
        if out and at - out[-1][0] < SAME:
            out[-1][1].append(valve)
        else:
            out.append((at, [valve]))
    return [(at, f"{', '.join(sorted(names))} {one if len(names) == 1 else several}") for at, names in out]


def start_document(start: Any, kept: Any, marks: list[tuple[float, str]]) -> dict[str, Any]:
    """CONTRACTS.md's document and what the tables show."""
    from firstglow.amplifier.roles import roles
    from firstglow.cli.discharge import capacitor_rows

    grids = [v.grid for v in roles(start.amplifier).outputs]
    stresses = {s.part: s for s in start.stresses}
    rows = []
    for row in capacitor_rows(kept):
        s = stresses.get(row["part"])
        rows.append(
            row
            | {
                "highest_when": s.when if s else None, "highest_time_s": s.at if s else None,
                "working_volts": s.working if s else None, "surge_volts": s.surge if s else None,
                "reverse_volts": s.reverse if s else 0.0, "verdict": s.verdict if s else "rating unknown",
            }
        )  # fmt: skip
    return {
        "time_s": [float(t) for t in start.course.seconds],
        "joints": {n: [float(v) for v in start.course.dc(n)[:, 0]] for n in dict.fromkeys([*start.nodes, *grids])},
        "marks": [{"time_s": t, "what": what} for t, what in marks],
        "capacitors": rows,
        "mains_volts": start.mains,
        "pots": dict(start.pots),
        "peaks": [
            {"joint": p.joint, "volts": p.volts, "time_s": p.at, "low": p.low, "high": p.high, "settled": p.settled}
            for p in start.peaks
        ],
        "valves": [
            {
                "valve": v.valve, "off_s": v.off, "conducts_s": v.conducts, "bias_ready_s": v.ready, "bias_safe_s": v.holds,
                "bias_ahead_s": v.ahead, "bias_late": v.late, "most_amps": v.most, "idle_amps": v.idle, "bias_volts": v.bias,
                "bias_settled_volts": v.settled, "safe_volts": v.wanted, "lifted": _lift_document(v.lift),
            }
            for v in start.valves
        ],
        "switched_off": [
            {
                "valve": r.valve, "most_amps": r.most, "most_s": r.at, "idle_amps": r.idle, "bias_half_s": r.bias_half,
                "ht_half_s": r.ht_half,
            }
            for r in start.switched_off
        ],
        "no_restart": start.no_restart or None,
    }  # fmt: skip


def _lift_document(lift: Any) -> dict[str, Any] | None:
    if lift is None:
        return None
    return {
        "held_s": lift.first, "from_s": lift.begin, "to_s": lift.end, "past": lift.past, "ht_share": lift.ht, "volts": lift.volts,
        "by": lift.by, "through": lift.through, "amps": lift.amps,
    }  # fmt: skip


def _lamp_document(behind: Any) -> dict[str, Any] | None:
    if behind is None:
        return None
    at, look = behind.brightest
    return {
        "watts": behind.watts, "time_s": [float(t) for t in behind.seconds], "load": [float(v) for v in behind.load],
        "brightest_time_s": at, "brightest": look, "warm": behind.warm, "primary_share": behind.primary,
        "stages": [{"what": s.what, "unit": s.unit, "without": s.without, "with_lamp": s.behind} for s in behind.stages],
    }  # fmt: skip


def _lamp_lines(behind: Any) -> Iterator[str]:
    """The stages without and with the lamp."""
    name = f"{behind.watts:g} W lamp"
    yield ""
    yield f"{'through the limiter lamp, cold start':<40}{'no lamp':>12}{name:>14}"
    for s in behind.stages:
        said = (_amount(v, s.unit) for v in (s.without, s.behind))
        yield "  " + f"{s.what:<38}{next(said):>12}{next(said):>14}"
    at, look = behind.brightest
    yield f"  The lamp is at its brightest after {at:.1f} s ({look}) and {behind.warm} once all is warm;"
    yield f"  the amplifier then gets {100.0 * behind.primary:.0f} % of the mains. Cold, it has a fourteenth of its ohms."


def _amount(value: float | None, unit: str) -> str:
    if value is None:
        return "never"
    digits = {"A": 2, "V": 0}.get(unit, 1)
    return f"{value:.{digits}f} {'times' if unit == '1' else unit}"


def _lines(start: Any, kept: Any, behind: Any = None) -> Iterator[str]:
    from firstglow.cli.discharge import make_safe_lines

    yield f"{start.amplifier.name}: cold start on {start.mains:.0f} V mains, then off and on again"
    if start.pots:
        yield "  Presets stand where the valves idle at their targets on nominal mains."
    yield ""
    yield f"{'joint':<16}{'highest V':>10}{'all warming alike':>22}{'at s':>8}{'warm V':>10}"
    for p in start.peaks:
        at = f"{p.at:.1f}" if abs(p.volts) > 1.01 * abs(p.settled) else "-"
        most = max(p.low, p.high, p.volts, key=abs)
        yield f"{p.joint[:15]:<16}{most:10.0f}{p.volts:22.0f}{at:>8}{p.settled:10.0f}"
    yield (
        "  'highest': a rectifier that warms fast before slow valves draw: 10 to 20 s indirectly, 2 to 4 s directly heated (common "
        "practice). '-': no higher than warm."
    )
    yield ""
    yield f"{'capacitor':<16}{'most V':>8}{'working':>9}{'surge':>8}  when"
    for s in start.stresses:
        working, surge = (f"{v:.0f}" if v is not None else "?" for v in (s.working, s.surge))
        mark = "! " if s.verdict.startswith("past") else "  "
        yield f"{mark}{s.part[:13]:<14}{s.volts:8.0f}{working:>9}{surge:>8}  {_stands(s)}"
        if s.reverse > 1.0 and start.amplifier.parts[s.part].type == "electrolytic":
            yield f"  ! {s.part} stands {s.reverse:.1f} V the wrong way round for a moment"
    yield "  Surge: the part's own, else IEC 60384-4: 1.15 times to 315 V, 1.10 above."
    yield ""
    yield f"{'output valve':<13}{'off s':>6}{'draws at s':>12}{'bias holds from':>17}{'first?':>14}{'most mA':>9}{'idle mA':>9}"
    groups = _alike(start.valves)
    for names, rows in groups:
        for v in rows:
            off = "cold" if v.off is None else f"{v.off:g}"
            holds, first = ("-", "own resistor") if not v.fixed else (_holds(v.holds), _first(v))
            mark = "! " if v.much else "  "
            yield (
                f"{mark}{names[:10]:<11}{off:>6}{_s(v.conducts):>12}{holds:>17}{first:>14}{1e3 * v.most:9.1f}{1e3 * v.idle:9.1f}"
            )
    if start.no_restart:
        yield f"  ! Off and on again is not worked out here: its first moments did not settle. {REST}"
    yield from _words(start, groups)
    if behind is not None:
        yield from _lamp_lines(behind)
    yield ""
    yield from make_safe_lines(kept)


def _alike(valves: Sequence[Any]) -> list[tuple[str, list[Any]]]:
    """Each output valve's rows; those within a tenth of a second and a fiftieth of the amps in all of them are one, by the first."""
    rows: dict[str, list[Any]] = {}
    for v in valves:
        rows.setdefault(v.valve, []).append(v)
    groups: list[tuple[list[str], list[Any]]] = []
    for name, mine in rows.items():
        same = next((names for names, first in groups if all(map(_near, first, mine))), None)
        if same is None:
            groups.append(([name], mine))
        else:
            same.append(name)
    return [(", ".join(names), mine) for names, mine in groups]


def _near(one: Any, other: Any) -> bool:
    moments = ((one.conducts, other.conducts), (one.holds, other.holds))
    apart = any((a is None) != (b is None) or abs((a or 0.0) - (b or 0.0)) > SAME for a, b in moments)
    return not apart and abs(one.most - other.most) <= 0.02 * one.most and one.much == other.much


def _s(seconds: float | None) -> str:
    return "-" if seconds is None else f"{seconds:.2f}"


def _holds(seconds: float | None) -> str:
    return "never" if seconds is None else "the start" if seconds == 0.0 else f"{seconds:.2f} s"


def _first(v: Any) -> str:
    """Which of the two comes first, and by how much."""
    if v.conducts is None:
        return "draws nothing"
    if v.ahead is None:
        return "no bias"
    if v.ahead < 0.0:
        return f"{-v.ahead:.1f} s late"
    return "bias" if v.ahead < TELLING else f"bias, {v.ahead:.1f} s"


def _stands(s: Any) -> str:
    said = "" if s.verdict.startswith("within") else f"{SHORT[s.verdict]}, "
    return f"{said}{s.when} {s.at:.1f} s"


def _words(start: Any, groups: Sequence[tuple[str, list[Any]]]) -> Iterator[str]:
    """What the table of the valves means, why a bias lets go again, and what comes after switching off."""
    yield "  'draws': a tenth of its idle flows."
    if any(v.fixed for v in start.valves):
        yield "  'bias holds': from then on the hottest valve of its type, its preset set for"
        yield "  the same idle, stays within its watts at the HT that stands once all is warm."
    if any("," in names for names, _ in groups):
        yield "  Valves in one row are within 0.1 s and 2 % of the mA of each other."
    yield from (f"  {names}: {text}" for names, rows in groups if (text := _lifted(rows[0])))
    for off in dict.fromkeys(v.off for v in start.valves):
        these = [v for v in start.valves if v.off == off]
        when = "At a cold start" if off is None else f"{off:g} s off and on again"
        much, late = [v for v in these if v.much], [v for v in these if v.late]
        if much:
            yield f"  ! {when}: {_draws(much)} {'See firstglow bias.' if off is None and late else REST}"
        elif late:
            yield from _spared(when, late)
    yield from _off(start)


def _spared(when: str, late: Sequence[Any]) -> Iterator[str]:
    """What each of several valves draws until its bias holds, and what holds it back: those held alike together."""
    by: dict[str, list[Any]] = {}
    for v in late:
        by.setdefault("" if v.before is None else v.before.by, []).append(v)
    for what, these in by.items():
        found = [v.before for v in these if v.before is not None]
        amps, warm = (1e3 * max((getattr(b, of) for b in found), default=0.0) for of in ("amps", "warm"))
        cool = "are not hot yet" if these[0].off is None else "have cooled"
        why = {
            "nothing": f", which is felt: up to {amps:.1f} mA flow for a moment, at an idle of {1e3 * these[0].idle:.1f}.",
            "cathode": f", but the cathodes {cool}: none draws more than its idle, where hot ones would draw up to {warm:.0f} mA.",
            "ht": ", but HT more slowly still: none draws more than its idle.",
            "bias": ", but what it lacks only a hotter valve of the type would feel: none draws more than its idle.",
            "": "; how much flows until then is not judged, the type's watts are not known.",
        }[what]
        names = f", {', '.join(v.valve for v in these)}" if len(by) > 1 else ""
        rule = f" {LATE}" if what == list(by)[-1] else ""
        yield f"  {when}{names}: the bias comes after the current{why}{rule}"


def _lifted(cold: Any) -> str:
    """Why the bias of a cold start lets go again after it had held; "" where it does not."""
    lift = cold.lift
    if lift is None:
        return ""
    cause = (
        f"{lift.by} charges through {lift.through}, {1e6 * lift.amps:.0f} µA, and lifts the grid by {lift.volts:.1f} V"
        if lift.by
        else f"the grid is lifted by {lift.volts:.1f} V"
    )
    return (
        f"the bias held from {lift.first:.2f} s, and lets go once more from {lift.begin:.2f} to {lift.end:.2f} s: as HT rises "
        f"(then {100 * lift.ht:.0f} % of it) {cause}. Were all HT there the hottest would be {100 * lift.past:.1f} % past its watts."
    )


def _off(start: Any) -> Iterator[str]:
    """Switched off warm: who draws more than its idle, and which goes first, HT or bias."""
    rows = start.switched_off
    if not rows:
        return
    more = [r for r in rows if r.most > MORE * r.idle]
    worst = max(rows, key=lambda r: r.most / (r.idle or 1.0))
    ht = max((r.ht_half for r in rows if r.ht_half is not None), default=None)
    bias = min((r.bias_half for r in rows if r.bias_half is not None), default=None)
    said = f"HT is at half after {_s(ht)} s"
    said += f", the bias at the grids after {_s(bias)} s" if bias is not None else ""
    if more:
        draws = f"{', '.join(r.valve for r in more)}, up to {1e3 * worst.most:.0f} mA after {worst.at:.2f} s"
        yield f"  ! Switched off warm: {draws}: the bias goes before HT. {said}."
    else:
        yield f"  Switched off warm: none draws more than its idle. {said}."


MORE = 1.02
"""Times its idle from which on an output valve is said to draw more once it is switched off."""
LATE = "Off is off for a minute all the same."
"""One rule for every pause."""


def _draws(valves: list[Any]) -> str:
    """Who draws too much, and what its grid stood at."""
    worst = max(valves, key=lambda v: v.most)
    said = f"{', '.join(v.valve for v in valves)}, up to {1e3 * worst.most:.0f} mA."
    if worst.late and worst.wanted is not None:
        said += f" {worst.valve} has {worst.bias:.0f} V on its grid when current comes; it takes {worst.wanted:.0f} V to hold it."
    return said
