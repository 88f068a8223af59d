"""What the three amplifiers' mains sides have in common, and the search for a supply that agrees with its board."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from second_solutions import laws
from second_solutions.waveform import Cycle, Leg, Mains, settle

Numbers = Mapping[str, float]
CONTACT = 0.01  # ohm from the socket into the inlet, and of each soldered lead


@dataclass
class HeaterLine:
    """Windings in series (names of T1's windings), and the heaters across them: (rated volts, rated amps)."""

    windings: Sequence[str]
    heaters: Sequence[tuple[float, float]]

    def ratio(self, v: Numbers) -> float:
        return sum(v[f"T1 {w} turns"] for w in self.windings) / v["T1 primary turns"]

    def ohms(self, volts: float) -> float:
        """Of all heaters together, hot at ``volts`` rms."""
        return volts / sum(laws.heater_amps(volts, *rated) for rated in self.heaters)

    def winding_ohms(self, v: Numbers) -> float:
        return sum(v[f"T1 {w} ohms"] for w in self.windings)

    def load(self, v: Numbers, volts: float) -> float:
        """Siemens on the core, in primary terms."""
        return self.ratio(v) ** 2 / (self.ohms(volts) + self.winding_ohms(v))

    def volts(self, v: Numbers, core: float, before: float) -> float:
        """Rms at the heaters for a core emf rms."""
        ohms = self.ohms(before)
        return self.ratio(v) * core * ohms / (ohms + self.winding_ohms(v))


def mains(
    v: Numbers, lines: Sequence[HeaterLine], heaters: Sequence[float], series: Sequence[str], core: float
) -> Mains:
    """The mains side: ``series`` names what lies between socket and primary."""
    ohms = CONTACT + v["T1 primary ohms"] + sum(v[f"{part} ohms"] for part in series)
    load = sum(line.load(v, volts) for line, volts in zip(lines, heaters, strict=True))
    loss = v["T1 core_loss_watts"] / v["mains nominal"] ** 2
    return Mains(v["mains volts"], v["mains hertz"], ohms, load + loss, magnetising(v, core))


def magnetising(v: Numbers, core: float) -> float:
    """Amps rms: straight, with a bend of the eighth power at the knee."""
    flux = core / v["mains nominal"]
    knee = v["T1 knee_volts"]
    return v["T1 magnetising_amps"] * flux * (1 + (flux / knee) ** 8) / (1 + knee**-8)


def agree(
    v: Numbers,
    lines: Sequence[HeaterLine],
    series: Sequence[str],
    guess: float,
    board: Callable[[float, list[float]], Mapping[str, float]],
    legs: Callable[[list[float]], list[Leg]],
    rates: Callable[[Mapping[str, float]], Callable[..., list[float]]],
    start: Callable[[Mapping[str, float]], list[float]],
    quiet: Callable[[Cycle], bool] = lambda cycle: True,
) -> tuple[Mapping[str, float], Cycle, Mains, list[float]]:
    """Guess HT1, solve the board, settle the cycle, compare its mean HT1 with the guess; secant until they agree.

    board(ht1, heater volts) -> joints; legs(heater volts); rates(joints), start(joints): of the cycle's states, the
    first of which is HT1. quiet(cycle): takes what else the board should know of the cycle; True once
    that no longer moves.
    """
    heaters = [line.heaters[0][0] for line in lines]
    ht1, core = guess, v["mains volts"]
    seen: list[tuple[float, float]] = []
    for _ in range(25):
        x = board(ht1, heaters)
        side = mains(v, lines, heaters, series, core)
        cycle = settle(side, legs(heaters), rates(x), start(x))
        found, core = cycle.mean(cycle.states[0]), cycle.rms(cycle.core)
        after = [line.volts(v, core, volts) for line, volts in zip(lines, heaters, strict=True)]
        settled = quiet(cycle)
        if settled and abs(found - ht1) < 1e-4 and max(abs(a - b) for a, b in zip(after, heaters, strict=True)) < 1e-5:
            break
        heaters = after
        seen.append((ht1, found))
        ht1 = _next(seen)
    else:
        raise AssertionError(f"supply and board do not agree: {seen[-2:]}")
    side.magnetising = magnetising(v, core)
    return dict(x) | {"HT1": found}, cycle, side, heaters


def _next(seen: list[tuple[float, float]]) -> float:
    """Next guess of a fixed point, by the secant through the last two."""
    if len(seen) < 2:
        return seen[-1][1]
    (a, fa), (b, fb) = seen[-2:]
    slope = (fb - fa) / (b - a) if b != a else 0.0
    return b + (fb - b) / (1 - slope) if abs(1 - slope) > 0.05 else fb
