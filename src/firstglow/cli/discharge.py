"""``firstglow discharge FILE``."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from firstglow.cli.output import AS, FILE, JSON, MAINS, mains_of, print_json, say


@click.command()
@FILE
@AS
@MAINS
@click.option(
    "--open", "opened", multiple=True, metavar="PART", help="Taken as open: bleeder, dropper, choke, switch, fuse."
)
@JSON
def command(file: Path, as_: str, mains_now: str | None, opened: tuple[str, ...], as_json: bool) -> None:
    """What stays charged after switch-off: every capacitor, from the most that can stand on it.

    \b
    Example:  firstglow discharge examples/a-linden-twin.toml
              firstglow discharge examples/a-linden-twin.toml --open R1
    Without --mains-now on the highest mains that the file allows; the wait
    is always theirs, here and on every rung of the ladder.
    """
    from firstglow.amplifier import load
    from firstglow.amplifier.options import parts_called
    from firstglow.audit.stored import at_worst, checked

    amplifier = load(file, as_=as_)
    said = [n.strip() for words in opened for n in words.split(",") if n.strip()]
    names = list(dict.fromkeys(n for word in said for n in parts_called(amplifier, word, "--open")))
    checked(amplifier, names)
    kept = at_worst(amplifier, mains_of(amplifier, mains_now), names)
    if as_json:
        print_json(discharge_document(amplifier, kept))
        return
    for line in _lines(amplifier, kept):
        say(line)


def capacitor_rows(kept: Any) -> list[dict[str, Any]]:
    """CONTRACTS.md's rows of the capacitors; null for never by itself."""
    return [
        {
            "part": r.part, "volts": r.volts, "joules": r.joules, "below_60_s": r.below_60, "below_10_s": r.below_10,
            "path": list(r.path), "without_path": {"below_60_s": r.without_60, "below_10_s": r.without_10},
            "mains_side": r.mains_side, "discharge_watts": r.watts,
            "bleeder": _bleeder(kept.bleeders.get(r.part)),
        }
        for r in kept.rows
    ]  # fmt: skip


def _bleeder(found: Any) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "ohms": found.ohms, "count": found.count, "each_ohms": found.each_ohms, "each_volts": found.each_volts,
        "each_watts": found.each_watts, "below_60_s": found.seconds,
    }  # fmt: skip


def discharge_document(amplifier: Any, kept: Any) -> dict[str, Any]:
    """CONTRACTS.md's document: joints after switch-off, slow by tolerance."""
    import numpy as np

    end = max((r.below_10 for r in kept.rows if r.below_10 is not None), default=0.0)
    times = np.concatenate([[0.0], np.geomspace(0.01, max(end, 60.0), 200)])
    joints = {}
    for name in sorted({j for r in kept.rows for j in amplifier.parts[r.part].leads.values()}):
        joints[name] = [float(v) for v in kept.fall.joint_volts(name, times)[:, 0]]
    marks = [{"time_s": 0.0, "what": "off, plug out"}]
    for r in kept.rows:
        for seconds, volts in ((r.below_60, 60), (r.below_10, 10)):
            if seconds:
                marks.append({"time_s": seconds, "what": f"{r.part} below {volts} V"})
    return {
        "time_s": [float(t) for t in times],
        "joints": joints,
        "marks": sorted(marks, key=lambda m: float(str(m["time_s"]))),
        "capacitors": capacitor_rows(kept),
        "opened": list(kept.opened),
        "parted": [
            {
                "part": p.part,
                "kind": p.kind,
                "read": list(p.read),
                "capacitors": [
                    {"part": one.part, "below_60_s": one.below_60, "below_10_s": one.below_10} for one in p.later
                ],
            }
            for p in kept.parted
        ],
        "discharge": {
            "ohms": kept.ohms,
            "watts": kept.watts,
            "rated_watts": kept.rated,
            "from_volts": kept.highest,
            "wait_s": kept.wait,
            "wait_told_s": kept.told,
            "wait_part": kept.last.part if kept.last else None,
            "wait_mains_volts": kept.wait_mains,
            "mains_side": [r.part for r in kept.plug],
        },
    }


def _joules(joules: float) -> str:
    """Joules of the table; less than a thousandth is told below it, where it matters."""
    return "< 0.001" if joules < 1e-3 else f"{joules:.3f}"


def energy_text(joules: float) -> str:
    """Joules, small ones in thousandths."""
    return f"{joules:.2g} J" if joules >= 0.1 else f"{1e3 * joules:.2g} mJ"


def time_text(seconds: float | None) -> str:
    """Seconds as a person waits for them, rounded up."""
    from math import ceil

    if seconds is None:
        return "never"
    if seconds == 0.0:
        return "-"
    if seconds < 120.0:
        return f"{ceil(seconds)} s"
    return f"{ceil(seconds / 60.0)} min" if seconds < 7200.0 else f"{ceil(seconds / 3600.0)} h"


def _lines(amplifier: Any, kept: Any) -> Iterator[str]:
    yield f"{amplifier.name}: what stays charged after switch-off"
    feed = f"{kept.mains:.0f} V mains put" if kept.on_mains else "its supplies put"
    turned = any(t.pot for t in amplifier.idle.values())
    ends = f", presets at either end{' (start has them at idle)' if amplifier.idle else ''}" if turned else ""
    yield (
        f"from the most that {feed} on each: warm, just switched on, or every valve but rectifiers out{ends}; farads and ohms at the "
        "slow end of their tolerances (electrolytics 30 % over where the file says none)"
    )
    if kept.opened:
        yield f"with {', '.join(kept.opened)} open"
    yield ""
    if not kept.rows:
        yield "No capacitor is drawn, so none keeps anything by the drawing. What stands on the bench may have one."
        yield ""
        yield from make_safe_lines(kept)
        return
    yield f"{'capacitor':<14}{'volts':>7}{'joules':>8}{'<60 V':>8}{'<10 V':>8}{'its path open':>16}  empties through"
    for r in kept.rows:
        without = f"{time_text(r.without_60)}, {time_text(r.without_10)}"
        path = r.path[0] + (" ..." if len(r.path) > 1 else "") if r.path else "leakage only"
        yield (
            f"{r.part[:13]:<14}{round(r.volts):7d}{_joules(r.joules):>8}{time_text(r.below_60):>8}{time_text(r.below_10):>8}"
            f"{without:>16}  {path[:16]}"
        )
    yield "  'its path open': below 60 V, 10 V with the resistors on its way out open; '-':"
    yield "  it never stands that high."
    for p in kept.parted:
        times = "; ".join(f"{one.part} {time_text(one.below_60)}, {time_text(one.below_10)}" for one in p.later)
        yield f"  ! with {p.part} open, below 60 V, 10 V: {times}"
    for b in kept.bleeders.values():
        each = f"{b.each_ohms / 1e3:g}k" if b.each_ohms < 1e6 else f"{b.each_ohms / 1e6:g}M"
        yield ""
        across = kept.behind.get(b.across)
        where = f" with {across} open too" if across else ""
        yield (
            f"Bleeder proposed across {b.across}: {f'{b.count} in series of ' if b.count > 1 else ''}{each}, {b.each_watts:g} W, "
            f"{b.each_volts:.0f} V on each; the supply is then below 60 V in {time_text(b.seconds)}{where}. No rating asks for it; "
            "where firstglow parts orders a bleeder there, the one of fewer ohms serves for both."
        )
    yield ""
    yield from make_safe_lines(kept)


def make_safe_lines(kept: Any) -> Iterator[str]:
    """What to do before a hand goes in."""
    yield "Before any hand goes in"
    if kept.told is not None:
        yield f"  Off, plug out and in sight. Wait at least {kept.told:.0f} s."
    elif kept.never:
        yield "  Off, plug out and in sight. It does not fall by itself."
    else:
        yield f"  Off, plug out and in sight. It does not fall by itself in ten minutes ({time_text(kept.wait)})."
    if not kept.never:
        yield f"    {_why(kept)}"
    for p in kept.parted:
        yield _parted(p)
    if kept.told is not None and kept.last is not None:
        yield (
            f"  Read {_points(kept)} before the resistor goes on: over 60 V (the hazard limit of dc, IEC 62368-1) after those "
            f"{kept.told:.0f} s, {_ways_out(kept)} open or a capacitor is far over its mark: it counts as never. The resistor "
            "empties it, and what is open is found before it is switched on again."
        )
    if kept.never:
        yield (
            f"  ! {', '.join(kept.never)}: never below 60 V by {'itself' if len(kept.never) == 1 else 'themselves'}, however long the "
            f"wait. Only the resistor empties them; a bleeder is missing{', or what is taken as open here' if kept.opened else ''}."
        )
    for r in kept.plug:
        falls = "never by itself" if r.below_60 is None else f"only after {time_text(r.below_60)}"
        yield (
            f"  ! {r.part} ({energy_text(r.joules)}) is on the mains side, on the plug's pins and behind the open switch: up to "
            f"{abs(r.volts):.0f} V, below 60 V {falls}. It sets no wait inside, but the pins of an unplugged cord can still sting: "
            "pin to pin and each pin to chassis with the same resistor, switch on, then read."
        )
    moment = (
        f"from all {kept.highest:.0f} V {kept.watts:.0f} W for a moment, which it stands; " if kept.watts >= 0.5 else ""
    )
    yield (
        f"  Then {kept.ohms / 1e3:g} kohm, {kept.rated:g} W wirewound ({moment}tool, clip and lead of the 1000 V class; "
        "its ohms read first) across each capacitor's own two ends, "
        f"{'HT first, bias last' if kept.bias else 'the reservoir first'}."
    )
    yield "  Read each: below 10 V dc, on a meter just proved. Again after a minute. The clip stays on."
    yield "  These times are arithmetic on the drawing: an open part makes them longer."
    yield "  Only what the meter read counts: no chassis is ever safe by the clock."


def _parted(p: Any) -> str:
    """What an open switch, fuse or link leaves charged, and where to read."""
    most, names = p.later[0], ", ".join(one.part for one in p.later)
    falls = "never by itself" if most.below_60 is None else f"only after {time_text(most.below_60)}"
    told = f": {p.drained} at 0 V tells nothing of {most.joint}" if p.drained else ""
    first = (
        f"Close {p.part} first, plug out: the wait counts from then"
        if p.kind == "switch"
        else "Look whether it is whole"
    )
    return (
        f"  ! {p.part} ({p.kind}) open and the valves cold, {names} {'is' if len(p.later) == 1 else 'are'} cut off from what drains the "
        f"rest: {most.part} below 60 V {falls}. {first}. Read {' and '.join(p.read)}{told}."
    )


def _points(kept: Any) -> str:
    """Joints that are read before the resistor goes on: where the last one stands, and either side of what may be open."""
    return " and ".join(dict.fromkeys((*(j for p in kept.parted for j in p.read), kept.last.joint)))


def _ways_out(kept: Any) -> str:
    """What empties the one that the wait is for."""
    parts = [p for p in kept.last.path if p != "leakage"]
    return f"{' or '.join(parts)} is" if parts else "what empties it is"


def _why(kept: Any) -> str:
    """Which capacitor sets the wait, with what it holds."""
    mains = (
        f"for {kept.wait_mains:.0f} V mains, the highest, as the ladder waits"
        if kept.on_mains
        else "as the ladder waits"
    )
    if kept.last is None:
        return f"({mains}; no capacitor of HT or bias stands above 60 V for long)"
    r = kept.last
    return f"({mains}: {r.part}, {energy_text(r.joules)} at {abs(r.volts):.0f} V, holds most of those that are below 60 V last)"
