"""What the plan needs to know of the bench."""

from dataclasses import dataclass

from firstglow.amplifier.bench import Bench
from firstglow.readings.meters import Meter


@dataclass(frozen=True, slots=True)
class Gear:
    """The bench, as far as it shapes the ladder.

    mains_now: V rms at the socket today: the dial never goes above it.
    variable_transformer: False builds the ladder on lamps.
    isolating_transformer: one is in the chain.
    lamps: ratings of the limiter lamps at hand [W], filament or halogen.
    meters: how many meters can be clipped on at once.
    meter_volts, lead_volts: what the meter and its leads are rated for [V dc, and rms for ac].
    old_electrolytics: electrolytics of unknown or old age are kept (they are formed before rung 4).
    unknown_transformer: rewound, suspected or never seen: it stands an hour at full mains on rung 2.
    """

    mains_now: float
    variable_transformer: bool = True
    isolating_transformer: bool = False
    lamps: tuple[float, ...] = (40.0, 60.0, 100.0, 150.0)
    meters: int = 2
    meter_volts: float = 1000.0
    lead_volts: float = 1000.0
    old_electrolytics: bool = False
    unknown_transformer: bool = False

    @property
    def most_volts(self) -> float:
        """What meter and leads together are rated for [V]."""
        return min(self.meter_volts, self.lead_volts)

    def lamp_for(self, watts: float) -> float:
        """The lamp for an amplifier that draws ``watts``: the smallest at least as large, else the largest there is.

        About 1 to 1.5 times the normal draw (common practice).
        """
        large = [lamp for lamp in sorted(self.lamps) if lamp >= watts]
        return large[0] if large else max(self.lamps)

    @property
    def small_lamp(self) -> float:
        """The lamp that stands in for the low end of the dial where there is no variable transformer."""
        return min(self.lamps)


def gear_of(bench: Bench, meter: Meter, mains_now: float) -> Gear:
    """A bench file's bench with the meter that reads, at today's mains [V]."""
    return Gear(
        mains_now,
        bench.variable_transformer,
        bench.isolating_transformer,
        bench.lamps,
        bench.meters_at_once,
        meter.rating_volts,
        min(bench.lead_volts, meter.lead_volts),
        bench.old_electrolytics,
        bench.unknown_transformer,
    )
