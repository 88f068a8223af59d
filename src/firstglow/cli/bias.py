"""``firstglow bias FILE``."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from firstglow.cli.output import AS, FILE, JSON, MAINS, print_json, say, volts_of


@click.command()
@FILE
@AS
@MAINS
@click.option(
    "--rectifier",
    type=click.Choice(["silicon", "selenium new", "selenium aged"]),
    default=None,
    help="Try this one instead of the file's.",
)
@click.option("--series", type=click.Choice(["E12", "E24", "E96"]), default="E24", show_default=True, help="Resistors.")
@click.option(
    "--hum", type=str, default=None, metavar="VOLTS", help="Most hum at a grid, V rms.  [default: bias / 10000]"
)
@click.option("--all", "every", is_flag=True, help="Every network in full, not the recommended one alone.")
@JSON
def command(
    file: Path,
    as_: str,
    mains_now: str | None,
    rectifier: str | None,
    series: str,
    hum: str | None,
    every: bool,
    as_json: bool,
) -> None:
    """The negative bias supply, designed again: resistors that reach every idle and fail to the cold side.

    \b
    Example:  firstglow bias examples/a-linden-twin.toml
              firstglow bias examples/a-linden-twin.toml --series E12 --hum 1m
    As it was drawn stands beside as changed (selenium beside silicon, say).
    One network is recommended, with why. Where none can be, that is the answer,
    with what would help; what the file does not say (idle, set_by) is asked for.
    """
    from firstglow.amplifier import AmplifierError, load
    from firstglow.amplifier.mains_mark import mains_refused
    from firstglow.audit.bias import design
    from firstglow.audit.bias_parts import NoBiasError, goes_with, with_rectifier
    from firstglow.cli.bias_lines import lines

    drawn, amplifier = load(file, as_="drawn"), load(file, as_=as_)
    today = volts_of(mains_now)
    told = mains_refused(amplifier, today) if today is not None else None
    if told is not None:
        raise AmplifierError((told,))
    fits = goes_with(amplifier, rectifier)
    try:
        if rectifier:
            amplifier = with_rectifier(amplifier, drawn, rectifier)
        found = design(drawn, amplifier, series, hum_of(hum), today)
    except NoBiasError as nothing:
        if as_json:
            print_json({"amplifier": amplifier.name, "as_it_was": None, "as_changed": None, "alternatives": [],
                        "recommended": None, "refused": str(nothing)})  # fmt: skip
        else:
            say(f"{amplifier.name}: {nothing}.")
        return
    if as_json:
        print_json({**bias_document(found), "goes_with": fits})
        return
    for line in lines(found, every, fits, f"With {rectifier}" if rectifier else f"As {as_}"):
        say(line)


def hum_of(text: str | None) -> float | None:
    """``--hum`` as volts rms. ClickException for what is none."""
    if text is None:
        return None
    from firstglow.quantities import QuantityError, read_value

    try:
        volts = read_value(text if text.strip()[-1:] in "Vv" else f"{text.strip()}V", "V")
    except QuantityError:
        volts = 0.0
    if volts <= 0.0:
        raise click.ClickException(f"--hum: {text}; volts rms at a grid, above 0; try --hum 2m")
    return volts


# -- JSON --------------------------------------------------------------------------------------------------------------
def bias_document(b: Any) -> dict[str, Any]:
    """CONTRACTS.md's document."""
    low, nominal, high = b.trial.mains
    was = [{"rectifier": k, **_proposal(b, p)} for k, p in b.was.items()]
    return {
        "amplifier": b.amplifier.name,
        "supply": b.trial.net.supply.name,
        "mains_volts": {"low": low, "nominal": nominal, "high": high},
        "hum_limit_volts": b.hum_limit,
        "wanted": [
            {
                "valve": v, "safe_bias_volts": b.trial.safe[v][1], "strongest_high_mains": float(n[2, 2]),
                "safe_bias_high_mains_volts": b.trial.safe[v][2],
                "published": float(n[1, 1]), "weakest_low_mains": float(n[0, 0]),
            }
            for v, n in b.trial.needs.items()
        ],
        "as_it_was": {**was[0], "others": was[1:]} if was else None,
        "as_changed": {"rectifier": b.trial.net.supply.kind, **_proposal(b, b.now)},
        "alternatives": [_proposal(b, p) for p in b.alternatives],
        "recommended": None if b.recommended is None else {"alternative": 0, "why": b.recommended},
        "refused": b.refused,
    }  # fmt: skip


def _proposal(b: Any, p: Any) -> dict[str, Any]:
    from firstglow.cli.bias_lines import trade_offs

    f, ready = p.found, p.ready
    return {
        "parts": _values(p),
        "added": {
            n: {"from": b.trial.amplifier.parts[n].leads["1"], "to": b.trial.amplifier.parts[n].leads["2"]}
            for n in b.trial.net.added if f"{n} ohms" in p.parts
        },
        "ratings": {n: v for n, v in p.parts.items() if n.endswith((" volts", " watts"))},
        "range": [
            {"valve": v, "out": _ends(f.out[v]), "in": _ends(f.into[v])} for v in f.out
        ],
        "idle_range": [_idle(b, i, f.turns) for i in f.idle.values()],
        "wiper_open": {
            "fail_safe": p.fail_safe,
            "pots": [
                {
                    "pot": w.pot, "valve": w.valve, "mains_volts": w.mains, "idle_amps": w.before, "open_amps": w.after,
                    "grid_volts": w.grid, "others_rise": w.others, "total": w.total, "safe": w.safe,
                }
                for w in f.wipers
            ],
        },
        "hum_volts": max(f.hum.values()),
        "ready_before_ht_s": ready.before_ht if ready else None,
        "ready_before_current_s": ready.before_current if ready else None,
        "ready_s": ready.bias if ready else None,
        "room": f.room,
        "fail_safe": p.fail_safe,
        "checks": [{"what": c.what, "holds": c.holds, "text": c.text, "as_drawn": c.as_drawn} for c in p.checks],
        "trade_offs": list(trade_offs(p)),
        "settled": f.settled,
    }  # fmt: skip


def _values(p: Any) -> dict[str, float]:
    """Part -> ohms or farads: of a proposal what changes or is added, of a network that stands all that it is made of."""
    changed = {n.rpartition(" ")[0]: v for n, v in p.parts.items() if n.endswith((" ohms", " farads"))}
    return changed or dict(p.present)


def _ends(e: Any) -> dict[str, float]:
    return {"most": e.most, "middle": e.middle, "least": e.least}


def _idle(b: Any, i: Any, turns: Mapping[str, float]) -> dict[str, Any]:
    sense = b.sense(i.valve)
    return {
        "band": b.band(i).row(),
        "valve": i.valve, "pot": b.trial.pot_of[i.valve].name, "travel": turns[b.trial.pot_of[i.valve].name],
        "target_amps": i.target, "low_mains_amps": i.low, "high_mains_amps": i.high, "stands_amps": i.stands, "reached": i.reached,
        "sense_volts": sense and {"part": sense.part, "nominal": sense.nominal, "measured": sense.measured},
        "plate_watts": i.plate_watts, "screen_watts": i.screen_watts, "limit_watts": i.limit, "share": i.share,
        "cathode_volts": i.cathode_volts, "weak_end_amps": i.at_least_amps, "weak_end_watts": i.at_least_watts,
    }  # fmt: skip
