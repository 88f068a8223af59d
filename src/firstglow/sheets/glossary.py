"""Words of the trade that the ladder uses without explaining them, for whoever types ``words`` in a climb."""

TERMS = (
    ("RCD", "residual-current switch of the outlet: trips on current to earth, never sees a shock from HT"),
    (
        "class X, class Y",
        "interference capacitors made to fail safely: X across the mains, Y from the mains to chassis",
    ),
    ("strap links", "the bridges that set a mains selector or join two primaries"),
    ("bond tester", "sends amps through the earth wire and reads milliohms; a hand meter only shows that it is whole"),
    ("known source", "a battery whose volts are known: the meter is proved on it before and after"),
    ("limiter lamp", "a filament lamp in series with the mains: it lights where too much is drawn"),
    ("dummy load", "a resistor in place of the loudspeaker"),
    ("reservoir", "the first capacitor behind the rectifier"),
    ("dropper", "a resistor in the HT line between two capacitors"),
    ("bleeder", "a resistor that empties the HT capacitors once it is off"),
    ("stopper", "a small resistor straight at a grid or a screen, against oscillation"),
    ("grid leak", "the resistor that ties a grid to chassis or to its bias"),
    ("coupling capacitor", "passes the signal from a plate to the next grid and holds HT off it"),
    ("bypass", "the capacitor across a cathode resistor"),
    ("OL", "what a meter shows past its range, or on ohms where nothing joins the two leads"),
    ("rung, gate", "one step of the first power-up, and what must have been read before the next"),
    ("round", "once off, made safe, clips on, power: all that is read before the next clips"),
    ("1 MΩ in clip", "a 1 MΩ resistor soldered into the red clip: a bare lead makes a grid oscillate"),
    ("hot", "the loudspeaker terminal that is not the common one"),
    ("turns rows", "small volts on the loudspeaker winding: each plate then shows its turns and its phase"),
    ("yours, by the readings before it", "a band narrowed by what this very amplifier has read so far"),
    ("idle", "the current an output valve draws with no signal"),
)
