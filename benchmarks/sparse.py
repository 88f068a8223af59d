"""What a sparse file is worth: ``python -m benchmarks.sparse`` (25 lines of the first example against the whole of it).

Prints how many of the full file's expected values lie inside the bands of the sparse file, every one that does not, and
what one measured value narrows.
"""

import argparse
import sys
from pathlib import Path

from firstglow.amplifier import load
from firstglow.ladder.ladder import build

ROOT = Path(__file__).parent.parent
FULL, SPARSE = ROOT / "examples" / "a-linden-twin.toml", ROOT / "tests" / "data" / "linden-sparse.toml"
# One measurement each: the part, as the layer says it, and its value.
MEASURED = (("V3 cathode R", "V3 cathode R", '"10R0"'), ("T1", "T1 bias", '"46V 55R"'), ("R4", "R4", '"2k71"'))
sys.path.insert(0, str(ROOT / "tests" / "readings"))


def main() -> None:
    """Run it."""
    from sparse_file import matches, narrowed, with_measured

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--samples", type=int, default=2000)
    asked = parser.parse_args()
    text = SPARSE.read_text(encoding="utf-8")
    full, sparse = build(load(FULL), mode="fast"), build(load(text), samples=asked.samples)
    rungs = [[r.id for r in ladder.expected.rungs] for ladder in (full, sparse)]
    print(f"{len(text.strip().splitlines())} lines; rungs of the full file {rungs[0]}")
    print(f"the same rungs: {rungs[0] == rungs[1]}")
    found = list(matches(full, sparse))
    inside = sum(m.inside for m in found)
    print(f"{inside} of {len(found)} answers inside: {100 * inside / len(found):.2f} %")
    for m in found:
        if not m.inside:
            r = m.sparse
            print(f"  {r.id}: full file {m.full}, sparse {r.shown}, {r.low} to {r.high}")
    for part, said, value in MEASURED:
        after = build(load(with_measured(text, said, value)), samples=asked.samples)
        rows = list(narrowed(sparse, after, part))
        hang = [n for n in rows if n.share > 0.02]
        ratio = sorted(n.after / n.before for n in hang)
        rest = sorted(n.after / n.before for n in rows if n.share == 0.0)
        print(f"{said} measured {value}: {len(hang)} bands hang on it, to {ratio[:1]} .. {ratio[-1:]} of their width;")
        print(
            f"  {len(rest)} do not: {rest[:1]} .. {rest[-1:]}; outside the band before: {[n.id for n in rows if not n.inside]}"
        )


if __name__ == "__main__":
    main()
