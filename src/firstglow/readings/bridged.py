"""Parts that can be open and still read inside their band in place, because others lie across them."""

from firstglow.readings.expected import ExpectedReading
from firstglow.readings.observe import Observer

KINDS = ("resistor", "choke")
TEXT = (
    "{parts} open would still read {shown} here, inside the sheet's band: what lies across it bridges it. Lift one lead and measure "
    "it alone."
)


def bridged(observer: Observer, row: ExpectedReading) -> str:
    """What the row says of it, "" where the reading proves the part.

    With the part open what is left has a spread like the band's own: the lowest of it inside the band is enough.
    """
    if (
        row.planned.probe.quantity != "ohms"
        or row.low is None
        or row.high is None
        or not isinstance(row.expected, float)
    ):
        return ""
    red, black = row.planned.probe.red, row.planned.probe.black
    across = [p for p in observer.amplifier.of_kind(*KINDS) if set(p.leads.values()) == {red, black}]
    if not across or row.expected <= 0.0:
        return ""
    from firstglow.solver.cold import without

    hidden = []
    for part in across:
        opened = float(without(observer.cold_network(row.planned.situation), part.name).ohms(red, black)[0])
        if opened * row.low / row.expected <= row.high:
            hidden.append((part.name.removeprefix(f"{part.channel} "), opened))
    if not hidden:
        return ""
    names = ", ".join(name for name, _ in hidden)
    return TEXT.format(parts=names, shown=row.text(max(ohms for _, ohms in hidden)))
