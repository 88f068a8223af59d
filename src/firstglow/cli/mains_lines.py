"""The screen of ``firstglow mains``, in lines of 80 characters."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from firstglow.audit.figures import Figures
    from firstglow.audit.fuse_judged import Blown, Judged, Place
    from firstglow.audit.lamp_choice import LampChoice, Seen
    from firstglow.audit.mains_document import MainsAudit
    from firstglow.audit.mains_silicon import Behind
    from firstglow.audit.mains_ways import Way

SMALL_VOLTS = 0.5


def lines(found: "MainsAudit") -> Iterator[str]:
    """All of it."""
    t = found.today
    how = f"{abs(100 * t.over):.0f} % {'over' if t.over > 0 else 'under'}" if abs(t.over) >= 0.005 else "as marked"
    yield f"{t.amplifier.name} on {t.now:g} V mains; its primary is marked {t.mark:g} V: {how}"
    yield from _findings(found)
    yield ""
    yield from _heaters(found)
    yield ""
    yield from _dc(found)
    yield ""
    yield from _switch_on(found)
    yield from _ways(found)
    for b in found.behind:
        yield from _behind(b)
    yield from _fuses(found)
    yield from _lamp(found.lamp, t.now)
    yield ""
    yield (
        "High voltage kills, and these parts stand on the mains. Plug out, capacitors below 10 V (firstglow discharge), before any "
        "hand goes in. Mains wiring follows local codes and is done or checked by someone licensed for it."
    )


def _heaters(found: "MainsAudit") -> Iterator[str]:
    from firstglow.audit.heater_life import life
    from firstglow.audit.mains_document import envelopes

    t = found.today
    yield f"HEATERS, volts at the pins{'rated':>14}{'on ' + format(t.mark, 'g') + ' V':>12}{'today':>9}"
    groups: dict[tuple[float, float], list[str]] = {}
    for e, (volts, rated) in t.at_now.heaters.items():
        groups.setdefault((rated, round(volts, 3)), []).append(e)
    for (rated, volts), names in groups.items():
        mark = t.at_mark.heaters[names[0]][0]
        yield f"  {envelopes(names)[:36]:<36}{rated:6g}{mark:12.2f}{volts:9.2f}"
        yield f"    {life(volts / rated).text}"
    if any(life(v / r).state in ("high", "past the limit") for v, r in t.at_now.heaters.values()):
        yield (
            "  Life: 10 % over about halves a cathode's (common practice); at worst it goes as a lamp's, volts to the 13th power or "
            "so. No maker of valves printed a law."
        )


def _dc(found: "MainsAudit") -> Iterator[str]:
    t = found.today
    yield f"HT, BIAS, IDLE{'on ' + format(t.mark, 'g') + ' V':>26}{'today':>9}"
    for joint, volts in t.at_now.ht.items():
        yield f"  {joint[:28]:<28}{t.at_mark.ht[joint]:8.1f} V{volts:7.1f} V"
    for joint, volts in t.at_now.bias.items():
        yield f"  {joint[:28]:<28}{t.at_mark.bias[joint]:8.1f} V{volts:7.1f} V"
    yield f"  {'drawn from the mains':<28}{t.at_mark.mains_watts:8.1f} W{t.at_now.mains_watts:7.1f} W, {t.at_now.mains_amps:.3g} A rms"
    alike: dict[str, list[str]] = {}
    for o, mark, left in zip(t.at_now.outputs, t.at_mark.outputs, t.left.outputs, strict=True):
        limit = f" of {o.limit:g} W, {100 * (o.share or 0.0):.0f} %" if o.limit else ""
        line = f"{mark.watts:8.1f} W{o.watts:7.1f} W{limit}; {1e3 * o.amps:.0f} mA"
        if abs(left.amps - o.amps) > 0.02 * o.amps:
            line += f" ({1e3 * left.amps:.0f} mA, {left.watts:.1f} W if its preset stays as set on {t.mark:g} V)"
        alike.setdefault(line, []).append(o.valve)
    for line, valves in alike.items():
        yield f"  {', '.join(valves)[:20] + ', plate':<28}{line}"


def _switch_on(found: "MainsAudit") -> Iterator[str]:
    t = found.today
    yield f"AT A SWITCH-ON on {t.high:.0f} V, before anything draws"
    for h in t.held:
        rated = "its rating is not said" if h.working is None else f"marked {h.working:.0f} V, surge {h.surge:.0f} V"
        mark = "! " if h.verdict == "past its surge volts" else "  "
        ring = " (rings)" if h.ring > 1.02 else ""
        yield f"{mark}{h.part[:10]:<10}{h.volts:6.0f} V{ring:<9} {rated}{'' if h.verdict.startswith('within') else ': ' + h.verdict}"


def _findings(found: "MainsAudit") -> Iterator[str]:
    from firstglow.audit.mains_limits import LOOKED_AT

    findings = found.today.findings
    t = found.today
    reach = f" and up to {t.high:.0f} V, the highest mains" if t.high > 1.001 * t.now else ""
    yield f"Past a limit on {t.now:g} V{reach}, {LOOKED_AT}" + (":" if findings else ": nothing.")
    for line in findings:
        yield f"  ! {line}"
    yield "  Valves pulled, a hot restart, a neighbour's fault and what ages: firstglow parts."


def _ways(found: "MainsAudit") -> Iterator[str]:
    t = found.today
    yield ""
    if not found.ways and not found.heaters:
        told = "none asked for: near enough to the mark" if not t.needs else "no made part comes nearer"
        yield f"WAYS: {told}. With --mains-now VOLTS as read at the socket it works them out."
        return
    if found.ways:
        yield f"WAYS TO BRING IT {'DOWN' if t.over > 0 else 'UP'}: least new parts first, then what gives way least under load"
        yield from _table(found)
    for number, way in enumerate(found.ways, 1):
        yield f"  {number}. {way.what}"
        if note := _note(way, t.now):
            yield f"     {note}"
    if found.ways:
        yield from _on_mark(found)
    shown: list[str] = []
    for way in found.ways:
        if way.kind not in shown:
            shown.append(way.kind)
            yield f"  {'Another tap' if way.kind == 'tap' else f'A {way.kind}'} does not cure: {'; '.join(way.not_cured)}."
            yield from (f"    ! {c}" for c in way.cautions)
    yield from _heaters_alone(found)


def _on_mark(found: "MainsAudit") -> Iterator[str]:
    """What no way cures, because it is past on the mark as well."""
    from firstglow.audit.mains_limits import LOOKED_AT

    t = found.today
    on = f"  Brought to {t.mark:g} V (highest {t.high_on_mark:.0f} V), {LOOKED_AT}"
    yield f"{on}, still past a limit:" if t.past_mark else f"{on}, nothing is past a limit."
    for line in t.past_mark:
        yield f"    ! {line}"
    yield f"    In every other way of standing: firstglow parts FILE --mains-now {t.mark:g}."


def _table(found: "MainsAudit") -> Iterator[str]:
    """The mark, today, and each way: heaters, HT, a switch-on, what full power takes off."""
    t = found.today
    joint = next(iter(t.at_now.ht), None)
    sags = any(w.sag_before > SMALL_VOLTS for w in found.ways)
    yield f"  {'':<26}{'primary':>9}{'heaters':>10}{joint or '':>10}{'at switch-on':>14}" + (
        f"{'full':>8}" if sags else ""
    )

    def row(name: str, f: "Figures", on: float | None, sag: float | None) -> str:
        ht = "" if joint is None else f"{f.ht[joint]:.0f} V"
        peak = "" if on is None else f"{on:.0f} V"
        taken = f"{-sag:+.0f} V" if sags and sag is not None else ""
        return (
            f"  {name[:25]:<26}{f.primary_volts:7.1f} V{_over(f.heater_ratio):>10}{ht:>10}{peak:>14}{taken:>8}".rstrip()
        )

    most = next((h.volts for h in t.held if h.joint == joint), None)
    yield row(f"on the mark, {t.mark:g} V", t.at_mark, None, None)
    yield row(f"as it is, {t.now:g} V", t.at_now, most, found.ways[0].sag_before)
    for number, w in enumerate(found.ways, 1):
        yield row(f"{number}. {_short(w)}", w.at, w.switch_on.get(joint or ""), w.sag)
    after = "" if t.high <= 1.001 * t.now else f" on {t.high:.0f} V, the highest mains, and what each way makes of them"
    if after and most is not None:
        yield f"  'at switch-on':{after}."
    if sags:
        yield "  'full': what full power takes off HT, by a guess from the output transformers."


def _short(w: "Way") -> str:
    """A way in three words."""
    if w.kind == "tap":
        return f"the {w.buy['tap_volts']:g} V tap"
    if w.kind == "resistor in the primary":
        return f"{w.buy['ohms']:.3g} ohm in the line"
    return f"{w.buy['winding_volts']:g} V {'against' if w.kind == 'bucking winding' else 'with'} mains"


def _note(w: "Way", now: float) -> str:
    """What its part carries, and what it was chosen for."""
    if w.kind == "resistor in the primary":
        return (
            f"for {w.aim}; heat {w.buy['heat_watts']:.2g} W at {w.buy['amps_rms']:.3g} A rms; takes {now - w.at.primary_volts:.1f} V "
            f"off (less than amps x ohms: the amps come in pulses); no half cycle of a start passes {w.inrush:.2g} A peak"
        )
    if "carries_amps" not in w.buy:
        return ""
    said = f"carries {w.buy['carries_amps']:.2g} A rms"
    if w.kind != "bucking winding":
        return said
    open_volts = w.buy["open_ratio"] * now
    return (
        f"{said}; takes {now - w.at.primary_volts:.1f} V off: {open_volts:.1f} V open (its {w.buy['winding_volts']:g} V are marked at "
        "full load), the rest in its copper, for turned against the mains it is fed, not loaded"
    )


def _over(ratio: float) -> str:
    """Heater volts over rated in percent, without a minus before nothing."""
    percent = 100.0 * (ratio - 1.0)
    return "0.0 %" if abs(percent) < 0.05 else f"{percent:+.1f} %"


def _heaters_alone(found: "MainsAudit") -> Iterator[str]:
    for d in found.heaters:
        watts = f"{d.rated:g} W" if d.rated else "more watts than one is made for"
        where = f"in each of its {d.count} leads" if d.count > 1 else "in one lead"
        joint = next(iter(d.at.ht), None)
        ht = "" if joint is None else f"; it leaves {joint} at {d.at.ht[joint]:.0f} V"
        yield f"  Only the heaters of {d.line}: {d.each:.2g} ohm {watts} {where} ({d.heat:.2g} W at {d.amps:.2f} A):"
        yield f"    {_over(d.before)} becomes {_over(d.after)}{ht}"


def _behind(b: "Behind") -> Iterator[str]:
    yield ""
    asked = "" if b.real else ", as if"
    yield f"SILICON IN PLACE OF THE {b.valve} ({b.supply}{asked}): a resistor behind it"
    watts = f"{b.rated:g} W" if b.rated else "more watts than one is made for"
    yield f"  {b.ohms:g} ohm {watts} wirewound (heat up to {b.heat:.2g} W), between silicon and reservoir"
    yield f"  {'drawn from ' + b.supply:<22}{b.valve:>10}{'bare silicon':>15}{'with the resistor':>20}"
    for r in b.rows:
        yield f"  {1e3 * r.amps:8.0f} mA{'':11}{r.valve:8.0f} V{r.silicon:13.0f} V{r.resistor:18.0f} V"
    if b.matches is not None:
        below = " (less than it draws at idle, where this value comes nearest)" if b.matches < b.rows[0].amps else ""
        yield f"  It gives the {b.valve}'s volts at {1e3 * b.matches:.0f} mA{below} and at no other current."
    else:
        yield "  It comes nearest at idle and matches at none of these currents."
    s, v = b.resistor_on, b.valve_on
    draws = f", {s.draws:.0f} s before an output valve draws" if s.draws is not None and s.draws > s.there + 1 else ""
    was = "" if v is None else f"; the {b.valve} came to {v.most:.0f} V in {v.there:.0f} s"
    yield f"  At a switch-on no resistor helps: HT stands at {s.most:.0f} V after {s.there:.1g} s{draws}{was}."
    for h in b.held:
        rated = "its rating is not said" if h.working is None else f"marked {h.working:.0f} V, surge {h.surge:.0f} V"
        yield f"    {h.part}: {h.volts:.0f} V; {rated}: {h.verdict}"


def _fuses(found: "MainsAudit") -> Iterator[str]:
    yield ""
    i = found.fuses.inrush
    yield "FUSE, by the limits of IEC 60127. It keeps wiring and transformer from burning;"
    yield "it never protects a person."
    if found.fuses.fit:
        yield f"  Fit: {found.fuses.fit}."
    high = found.today.mark * (1.0 + found.today.amplifier.mains_spread)
    yield f"  Judged on {found.fuses.mains:g} V, whatever the mains are today; a start on {high:.0f} V."
    charge = f"; capacitors behind silicon a peak of {i.charge:.3g} A" if i.charge > i.running else ""
    yield (
        f"  A start: {i.first:.2g} A rms at once into cold heaters, {i.cold:.2g} A a cycle later, {i.running:.2g} A when warm"
        f"{charge}; the core may add a peak of "
        f"{i.core[0]:.2g} to {i.core[1]:.2g} A for a few half cycles (from memory; it hangs on the moment of switching)."
    )
    for p in found.fuses.places:
        yield from _place(p, found.fuses.low)
    yield (
        "  'carries': at full power, of its mark. 'a start': of what it surely holds, the core at its worst; to 29 % it stands "
        "ten thousand, towards 100 % hundreds, past that it may blow. "
        "'no': it need not blow (holds 1.5 times its mark for an hour); 'perhaps': nothing is "
        "promised below 2.1 times. What lasts over two minutes saves nothing (common practice)."
    )
    yield from _unsaved(found)


def _unsaved(found: "MainsAudit") -> Iterator[str]:
    """What the mains fuse does not end in time, what burns meanwhile, and what an HT fuse would do."""
    lasting = found.fuses.unsaved
    if not lasting:
        return
    name = next(p.part for p in found.fuses.places if p.place == "mains")
    yield f"  {name} need not open within two minutes on:"
    for u in lasting:
        burns = f"; meanwhile past their ratings: {', '.join(u.hurt)}" if u.hurt else ""
        yield f"    {u.blown.fault}: {u.blown.amps:.3g} A, {u.blown.text.partition(':')[0]} its mark{burns}"
    ht = next((p for p in found.fuses.places if p.place == "HT"), None)
    told = (
        (f"in {name}'s place", [(u.line, u.blown.fault) for u in lasting]),
        ("in HT", [(u.ht, u.blown.fault) for u in lasting]),
    )
    for where, each in told:
        for fuse in dict.fromkeys(f for f, _ in each if f):
            on = [fault for f, fault in each if f == fuse]
            fuse = fuse.rpartition(" ")[0] if where == "in HT" else fuse
            yield f"    {fuse} {where} opens in time on {'each of these' if len(on) == len(each) > 1 else ', '.join(on)}."
    if not any(u.line or u.ht for u in lasting):
        yield "    No fuse surely opens in time there: off at the first sign (a red plate, a"
        yield "    growl, more amps)."
    elif ht is not None and ht.now is None and any(u.ht for u in lasting):
        yield "    One in HT is ordered with its holder: the order list of firstglow parts has it."


def _place(p: "Place", low: float) -> Iterator[str]:
    where = {"mains": "in the line", "HT": "in HT", "bias": "in the bias supply"}.get(p.place, "elsewhere")
    each = [j for j in (p.now, *p.proposed) if j is not None]
    if not each:
        yield f"  {p.part} ({where}): its amps are not said: look on its cap"
        return
    faults = [b.fault for b in each[0].blown]
    head = "".join(f"{f.replace(' shorted', '' if 'winding' in f else ' short'):>12}" for f in faults)
    name = f"{p.part} {where}" if p.part else f"none drawn {where}"
    yield f"  {name[:22]:<23}{'carries':>8}{'a start':>9}{head}"
    seen = []
    for j in each:
        if (j.fuse.amps, j.fuse.speed) in seen:
            continue
        seen.append((j.fuse.amps, j.fuse.speed))
        name = j.fuse.name if p.place == "mains" else j.fuse.name.rpartition(" ")[0]
        label = f"{name}{' (as it is)' if j is p.now else ''}"
        start = "-" if j.start < 0.005 else f"{100 * j.start:.0f} %"
        yield f"    {label:<21}{100 * j.full:6.0f} %{start:>9}{''.join(f'{_opens(b):>12}' for b in j.blown)}"
    if p.now is not None and p.now.verdict.startswith(("too", "may blow")):
        yield f"    ! {p.part}: {p.now.verdict}"
    yield from _on_the_lowest(each, low)
    yield from (f"    ! {c}" for c in p.cautions)


def _on_the_lowest(each: "Sequence[Judged]", low: float) -> Iterator[str]:
    """What a fuse no longer ends in time there."""
    for j in {j.fuse.name: j for j in each}.values():  # the one drawn may be the one proposed
        lost = ", ".join(f"{b.fault} ({b.low_amps:.3g} A)" for b in j.blown if b.lost_low)
        if lost:
            yield (
                f"    ! on {low:.0f} V, the lowest mains, {j.fuse.name.rpartition(' ')[0]} may hold for long on: {lost}. A rectifier "
                "valve heated less passes far less, and what burns burns slower: off by hand."
            )


def _opens(b: "Blown") -> str:
    from firstglow.audit.fuse_judged import seconds
    from firstglow.audit.fuse_times import HOLDS_AT

    if b.within is not None:
        return f"in {seconds(b.within)}"
    return "no" if b.times <= HOLDS_AT else "perhaps"


def _lamp(c: "LampChoice", now: float) -> Iterator[str]:
    best = c.proposed
    yield ""
    yield f"LIMITER LAMP: {best.watts:g} W, for an amplifier that draws {c.volt_amps:.0f} VA ({c.watts:.0f} W)"
    if c.ladder == best.watts:
        yield (
            "  The ladder's own, for all its lamp lines: the smallest at hand that is not under what it draws there (presets at their "
            "most negative), which limits most; its readings are worked out with it. It finds shorts and is not for running: what it "
            "leaves the heaters stands below."
        )
    elif c.ladder is not None:
        yield f"  Not the {c.ladder:g} W of the ladder, which is {c.why_not}. Say the lamps at hand in the bench."
    small = [x for x in c.lamps if x.watts < best.watts]
    large = [x for x in c.lamps if x.verdict.startswith("too large")]
    for lamp in (*small[-1:], best, *(x for x in c.lamps[c.best + 1 :][:1] if x not in large), *large[:1]):
        yield f"  {lamp.watts:3g} W {lamp.verdict}"
    yield f"  With {best.watts:g} W in, on {now:g} V, once all is warm (lamp out beside it):"
    yield f"  {'rung':<28}{'good':>5}{'half-short':>11}{'short':>6}{'primary':>9}{'HT':>15}"
    for s in best.seen:
        title = f"{s.rung} {s.title.partition(',')[0].replace(' of the ', ', ').replace(' channel', '')}"
        ht = "" if s.ht is None else f"{s.ht:.0f} ({s.bare_ht:.0f}) V"
        words = f"{_word(s.words[0]):>5}{_word(s.words[1]):>11}{_word(s.words[2]):>6}"
        yield f"  {title[:27]:<28}{words}{s.primary:7.0f} V{ht:>15}"
    yield from _lamp_heaters_and_bias(best.seen)
    last = best.seen[-1]
    if last.heater_ratio is not None and last.bare_heater_ratio is not None:
        yield (
            f"  Everything in, heaters stand {100 * (1 - last.heater_ratio / last.bare_heater_ratio):.0f} % lower with the lamp in: no "
            "reading is judged before it is out."
        )
    yield "  Half-short: as many watts again as the amplifier draws. Short: HT winding."
    yield (
        "  Switched on at full mains it may flash for a second or two: cold heaters, empty capacitors. Moment by moment: firstglow "
        f"start FILE --lamp {best.watts:g}."
    )


def _lamp_heaters_and_bias(seen: "Sequence[Seen]") -> Iterator[str]:
    """What heaters and bias read with the lamp still in, a rung a line."""
    ratings = list(dict.fromkeys(r for s in seen for r in s.heaters))
    joints = list(dict.fromkeys(j for s in seen for j in s.bias))
    if not ratings and not joints:
        return
    heads = [f"{r:g} V heaters" for r in ratings] + joints
    yield f"  {'what else reads with it in':<27}" + "".join(f"{h[:15]:>16}" for h in heads[:MOST_BESIDE])
    for s in seen:
        title = f"{s.rung} {s.title.partition(',')[0].replace(' of the ', ', ').replace(' channel', '')}"
        volts = [f"{s.heaters[r][0]:.2f} ({s.heaters[r][1]:.2f}) V" if r in s.heaters else "" for r in ratings]
        volts += [f"{s.bias[j][0]:.0f} ({s.bias[j][1]:.0f}) V" if j in s.bias else "" for j in joints]
        yield f"  {title[:26]:<27}" + "".join(f"{v:>16}" for v in volts[:MOST_BESIDE])


MOST_BESIDE = 3
"""Columns that a screen holds beside the rung; the JSON has all."""


def _word(word: Any) -> str:
    return "?" if word is None else str(word)
