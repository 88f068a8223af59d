"""Grid leaks that are past their valve's limit for fixed bias: a network is designed with those that keep it, and with the coupling
capacitors that keep the bass then."""

from firstglow.audit.bias_found import Design, Found
from firstglow.audit.bias_trial import Trial
from firstglow.audit.replace_leak import bass_kept, lower_leak
from firstglow.readings.rated import section_of


def lower_leaks(trial: Trial, found: Found) -> Design:
    """Parameter -> value of each leak that is changed and each coupling capacitor behind it; empty where the limits are kept, none is
    known, or what feeds the leak takes all of it."""
    parts = trial.amplifier.parts
    out: dict[str, float] = {}
    for o in trial.outputs:
        limit, whole = section_of(parts[o.valve]).limits.grid_leak_fixed_ohms, found.grid_ohms[o.valve]
        if limit is None or o.grid_leak is None or whole <= limit:
            continue
        ohms = parts[o.grid_leak].value("ohms")
        new = lower_leak(limit, whole, ohms)
        if new is None:
            continue
        out[f"{o.grid_leak} ohms"] = new
        for c in o.coupling:
            if c in parts and parts[c].kind == "capacitor":
                out[f"{c} farads"] = bass_kept(parts[c].value("farads"), ohms, new)
    return out
