"""Figures that were typed before their time: told so, and not kept."""

from typing import TYPE_CHECKING

from firstglow.readings.meters import ReadingsError

if TYPE_CHECKING:
    from firstglow.ladder.asking import Asking
    from firstglow.ladder.judging import Judged

# Of what stands cold: so much further it may stand in another healthy one, mains and winding at their ends (common practice).
COLD_REACH = 0.1


def refuse_early(asking: "Asking", name: str, text: str, found: "Judged") -> None:
    """ReadingsError for a figure that does not count yet. A stop limit counts at any moment, and so does a no to what is
    looked at (smell, drift); not one that every amplifier passes while its cathodes are cold, nor one of volts that fall
    from the plug on."""
    typed = text.strip()
    if asking.to_pull(name) is not None:
        raise ReadingsError(
            f"{typed}: the plug is in yet; the word out, the moment it comes out: its seconds count from there; try out"
        )
    fall = asking.to_fall(name) or 0.0
    if fall > 0.0:
        raise ReadingsError(f"{typed}: {fall:.0f} s yet; what the meter shows at zero; try it again then")
    verdict = found.verdict.verdict
    warm, cold = (asking.to_warm(name), asking.cold_past_its_stop(name)) if verdict == "switch off now" else (0.0, None)
    if warm > 0.0 and cold is not None and _as_cold(found, cold):
        raise ReadingsError(
            f"{typed}: {warm:.0f} s yet, and cold it stands at {found.reading.text(cold)}; the warm figure, which the stop is "
            f"meant for; try it again then"
        )
    left = asking.to_settle(name)
    if left > 0.0 and verdict != "switch off now" and not (found.reading.kind == "look" and verdict == "look first"):
        raise ReadingsError(
            f"{typed}: {left:.0f} s to wait yet before this one counts; a stop limit is told at once, nothing else; try it "
            f"again then"
        )


def _as_cold(found: "Judged", cold: float) -> bool:
    """Does a figure past a stop lie no further past it than what stands there cold [V]?"""
    above, below, volts = found.reading.stop_above, found.reading.stop_below, found.si
    reach = COLD_REACH * abs(cold)
    if volts is None:
        return False
    if above is not None and cold > above.limit:
        return above.limit < volts <= cold + reach
    return below is not None and cold - reach <= volts < below.limit
