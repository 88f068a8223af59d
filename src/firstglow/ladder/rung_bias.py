"""Rung 3: the bias with HT off, every pot swept (rows 17 to 20), or what stands in for it with cathode bias."""

from collections.abc import Iterator

from firstglow.amplifier.role_types import OutputValve
from firstglow.amplifier.situation import Situation
from firstglow.ladder import stops, unfit
from firstglow.ladder.frame import Frame
from firstglow.ladder.kinds import kind_lines
from firstglow.ladder.rung_cold import RUNG as COLD
from firstglow.ladder.rung_cold import TAKEN_AS
from firstglow.ladder.rung_transformer import bias_reservoir
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung, StopRule

RUNG = "3"
FORM = 300.0  # s: the bias electrolytic forms
OFF = 10.0  # V: more than this at the reservoir and HT is not off (common practice)


def rung(frame: Frame) -> PlannedRung:
    """Bias, or its stand-in; ends in hold 2."""
    words, at = frame.words, frame.alone()
    fixed = [v for v in frame.roles.outputs if frame.has_bias(v)]
    key = "rung.bias" if fixed else "rung.bias_standin"
    readings = (*_ht_off(frame), *_reservoirs(frame), *_sweeps(frame, fixed), *_all_negative(frame, fixed))
    return PlannedRung(
        id=RUNG,
        title=words.text(f"{key}.title"),
        situation=at,
        stands="",
        before=words.lines(f"{key}.before") + kind_lines(frame, "bias"),
        readings=readings,
        hold=Hold(True, words.text(f"{key}.hold") + unfit.only_to(frame), tuple(stand_ins(frame))),
        cautions=words.lines(f"{key}.cautions"),
        watch_for=words.lines(f"{key}.watch"),
        wait_seconds=FORM if fixed else 0.0,
        wait_why=words.text("rung.bias.wait_why") if fixed else "",
        dial_ceiling=1.0,
    )


def stand_ins(frame: Frame) -> Iterator[str]:
    """Ids of the cold readings that stand in for a bias reading where the cathode makes the bias."""
    for v in frame.roles.outputs:
        if v.bias in ("cathode", "mixed", "back"):
            yield frame.reading_id(COLD, "cathode", v.valve)
            yield frame.reading_id(COLD, "grid leak", v.valve)


def _ht_off(frame: Frame) -> Iterator[PlannedReading]:  # row 17
    for supply in frame.supplies("ht"):
        yield frame.reading(
            RUNG,
            f"{supply.joint} off",
            "ht_zero",
            frame.joint(supply.joint),
            frame.joint(supply.ret),
            frame.alone(),
            stops=(stops.above(OFF, "HT is not off"), stops.below(-OFF, "HT is not off")),
            range_volts=TAKEN_AS,
            fill={"node": frame.joint(supply.joint).text},
        )


def _reservoirs(frame: Frame) -> Iterator[PlannedReading]:  # row 18
    for supply in frame.negatives:
        yield bias_reservoir(frame, RUNG, frame.alone(), supply)
        if frame.capacitor_fed(supply):  # if that capacitor leaks, every grid hums
            yield frame.reading(
                RUNG,
                f"{supply.name} ripple",
                "bias_ac",
                frame.joint(supply.joint),
                frame.joint(supply.ret),
                frame.alone(),
                kind="ac volts",
                quantity="ripple volts",
                contact="clip",
                stops=(stops.most(3.0, "the capacitor from the leg leaks"),),
                fill={"part": supply.reservoir or supply.joint},
            )


ENDS = (("end 1", 0.0), ("end 2", 1.0))


def _own_end(frame: Frame, v: OutputValve) -> str:
    """The end of a valve's control at which its grid is at its most negative; "" where it has none, or no such end."""
    return next((end for end, position in ENDS if v.pot and frame.negative_ends.get(v.pot) == position), "")


def _sweeps(frame: Frame, valves: list[OutputValve]) -> Iterator[PlannedReading]:  # row 19
    """Each control away from its most negative end: there every grid is read together, so nothing is asked twice."""
    for v in valves:
        for end, position in ENDS:
            if v.pot is None or end == _own_end(frame, v):
                continue
            at = frame.alone(pots={**frame.negative_ends, v.pot: position})
            yield frame.reading(
                RUNG,
                f"grid {end}",
                "sweep",
                frame.at(v.valve, "grid"),
                frame.joint("chassis"),
                at,
                owner=v.valve,
                stops=(stops.sign(False, "a grid at 0 V or plus"), stops.least(0.5, "runs toward 0")),
                fill={"pot": v.pot, "end": end},
            )


def _all_negative(frame: Frame, valves: list[OutputValve]) -> Iterator[PlannedReading]:  # row 20
    for v in valves:
        end = _own_end(frame, v)
        state = frame.words.text("rung.bias.own_end", pot=v.pot, end=end) if end else ""
        swept = (stops.sign(False, "a grid at 0 V or plus"), stops.least(0.5, "runs toward 0")) if end else ()
        yield grid_negative(frame, RUNG, frame.alone(), v, state, also=swept)
        first = next(o for o in frame.roles.outputs if o.bias_joint == v.bias_joint)
        if v.bias_joint != "chassis" and first is v:
            yield frame.reading(
                RUNG,
                "bias joint",
                "bias_joint",
                frame.joint(v.bias_joint),
                frame.joint("chassis"),
                frame.alone(),
                owner=v.valve,
                stops=(stops.sign(False), stops.least(0.5)),
            )


def grid_negative(
    frame: Frame,
    rung: str,
    at: Situation,
    v: OutputValve,
    state: str,
    settle_seconds: float = 0.0,
    also: tuple[StopRule, ...] = (),
) -> PlannedReading:
    """Output grid with every pot at its most negative: it must hold the strongest valve."""
    return frame.reading(
        rung,
        "grid at most negative",
        "grid_negative",
        frame.at(v.valve, "grid"),
        frame.joint("chassis"),
        at,
        owner=v.valve,
        stops=(stops.safe_bias(v.valve), *also),
        fill={"state": state},
        settle_seconds=settle_seconds,
    )
