"""The valves' part of ``firstglow incoming``: what healthy ones show, gas, heater to cathode."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from firstglow.audit.incoming import Incoming


def valves(found: "Incoming") -> Iterator[str]:
    from firstglow.audit.incoming_valves import HIGH, LOW, alike
    from firstglow.quantities import show

    if not found.draws:
        return
    yield f"\nVALVES: what {(HIGH - LOW) / 100 * 20:.0f} of 20 healthy ones show here, running"
    yield "  Changed with the plug out and the glass cool. First ohms from pin to pin, cold"
    yield "  and tapped: a shorted one takes others with it. Then by the ladder's rungs."
    for group in alike(found.draws):
        d = group[0]
        yield f"  {', '.join(g.valve for g in group)} ({d.type})"
        where = ", ".join(dict.fromkeys(f"across {g.across}" if g.across else f"{g.red} to {g.black}" for g in group))
        yield f"    {where}"
        yield f"    {show(d.volts, 'V')}, {show(d.low, 'V')} to {show(d.high, 'V')}"
        yield f"    ({show(d.amps, 'A')}, {show(d.amps_low, 'A', 2)} to {show(d.amps_high, 'A', 2)})"
        if d.limit_volts is not None and d.limit_amps is not None:
            yield f"    over {show(d.limit_volts, 'V')} ({show(d.limit_amps, 'A')}) its plate is past its watts: off"
        if d.target is not None and d.reaches is not None:
            yield from _preset(group)
    yield from _gas(found)
    yield from _heater(found)


def _preset(group: Sequence[Any]) -> Iterator[str]:
    from firstglow.quantities import show

    d = group[0]
    reach = "all of them" if d.reaches > 0.995 else f"{100 * d.reaches:.0f} % of them"
    pots = ", ".join(dict.fromkeys(g.pot for g in group))
    grids = "" if d.grid_low is None else f", its grid at {d.grid_low:.0f} to {d.grid_high:.0f} V"
    yield (
        f"    with {pots} where a middling one idles at {show(d.target, 'A')}; turned, that brings {reach} there{grids}"
    )


def _gas(found: "Incoming") -> Iterator[str]:
    from firstglow.quantities import show

    if not found.gas:
        return
    yield "\nGAS, after ten minutes warm: dc volts from grid (red) to what holds it (black)."
    yield "  Not before the ladder's rung 6 has passed with this valve in, lamp out."
    yield "  Plus grows with gas or grid emission. Pull the valve (plug out): what then"
    yield "  stays is the coupling capacitor or the socket."
    groups: dict[tuple[str, ...], list[Any]] = {}
    for g in found.gas:
        key = (*(f"{v:.2g}" for v in (g.good_volts, g.reject_volts, g.idle)), str(g.input_empty))
        groups.setdefault(key, []).append(g)
    for group in groups.values():
        g = group[0]
        names = ", ".join(f"{x.valve} (black on {x.black})" for x in group)
        empty = "; nothing in the input, volume up" if g.input_empty else ""
        yield f"  {names}{empty}"
        yield (
            f"    good under {show(g.good_volts, 'V', 2)}, never fitted over {show(g.reject_volts, 'V', 2)} "
            f"({show(g.good_amps, 'A')}, {show(g.reject_amps, 'A')})"
        )
        if g.doubled_good is not None:
            yield (
                f"    or with its grid leak doubled: from {show(g.idle, 'A', 4)} to {show(g.doubled_good, 'A', 4)} at "
                f"most; at {show(g.doubled_reject, 'A', 4)} it is never fitted"
            )
        elif g.most is not None and g.leak is not None and not g.input_empty:
            yield (
                f"    ! never with its grid leak doubled: {show(g.leak, 'ohm')} hold the grid, its sheet allows "
                f"{show(g.most, 'ohm')}; a gassy valve on more runs away"
            )
        if g.ordered is not None:
            yield (
                f"    with the {show(g.ordered, 'ohm')} that firstglow parts orders: good under {show(g.ordered_good, 'V', 2)}, "
                f"never fitted over {show(g.ordered_reject, 'V', 2)}: fit that first, then try the valve"
            )


def _heater(found: "Incoming") -> Iterator[str]:
    from firstglow.quantities import show

    by: dict[tuple[object, ...], list[Any]] = {}
    for h in found.heater:
        figures = () if h.good_volts is None else (f"{h.good_volts:.2g}", f"{h.reject_volts:.2g}")
        by.setdefault((h.method, *figures), []).append(h)
    if not by:
        return
    yield "\nHEATER TO CATHODE, heaters warm and no HT: ac volts to chassis"
    yield f"  {_no_ht(found)}"
    yield "  Then these valves in, on for a minute (between the ladder's rungs 3 and 4)."
    for (method, *_), group in by.items():
        h, names = group[0], ", ".join(dict.fromkeys(x.valve for x in group))
        if method == "in the hand, hot":
            yield f"  {names}: not in circuit (what stands at the cathode hides it)"
            yield "    Warm as above, then off and plug out. No HT was on, so there is none to wait"
            yield "    for: the valve straight out, with a cloth, by its glass; nothing else is"
            yield "    touched. Highest ohms range, heater pin to cathode pin within ten seconds:"
            yield "    good over 10 Mohm, never fitted under 1 Mohm."
            continue
        if method == "its cathode's lead off":
            lead = ", ".join(dict.fromkeys(x.lead for x in group))
            yield f"  {names}: {lead} off the cathode, {show(h.across_ohms, 'ohm')} across the meter"
        else:
            yield f"  {names}: at the cathode as it is"
        yield (
            f"    good under {show(h.good_volts, 'V', 2)}, never fitted over {show(h.reject_volts, 'V', 2)} "
            "(10 Mohm, 1 Mohm)"
        )
    if any(h.method == "its cathode's lead off" for h in found.heater):
        yield "  A cathode with its lead off floats: back on before any HT, so before what was"
        yield "  taken out or off against HT goes back."


def _no_ht(found: "Incoming") -> str:
    """How HT is kept away while heaters are warm."""
    amplifier = found.amplifier
    hot = [s for s in found.stood.roles.supplies if s.use == "ht"]
    glasses = dict.fromkeys(
        str(amplifier.parts[r].envelope) for s in hot for r in s.rectifiers if amplifier.parts[r].envelope
    )
    first = "Plug out, every capacitor read below 10 V."
    if glasses:
        return (
            f"{first} {' and '.join(glasses)} OUT: without its rectifier no HT comes; the empty "
            "socket's plate pins stay live."
        )
    return (
        f"{first} The HT winding's leads off the rectifier (silicon gives HT at once), each end insulated: they stay live, at all of "
        "the winding's volts."
    )
