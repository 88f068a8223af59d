"""How wide printed words are, so that a sheet can be divided into pages before any browser sees it.

Widths are those of DejaVu Sans, in hundredths of the letter size (read once from the font itself). Of the typefaces the
sheet names it is the widest, so text set in another needs no more lines than counted here.
"""

from functools import cache

WIDTHS = {
    False: "27' 28ijl 29IJ 32,.· 34/:;\\| 35f 36- 39()[]t 40! 41r 46\" 50*_`–° 52sz 53? 55c 56L 58Fk 59vxy 60P 61TYao 62e "
    "63ESbdghnpqu 64$0123456789{}µ√ 66K 68AV 69BRXZ 70C 73U 75HN 76Ω 77DG 78& 79OQ 82w 84#+<=>^~−×±≤≥ 86M 90⚠ 95% 97m "
    "99W 100@—…",
    True: "31' 34ijl 37/IJ\\| 38,.· 40:; 42- 44f 46!()[] 48t 49r 50_`–° 52\"* 58?z 59c 60s 64L 65vxy 67ak√ 68EFTe 69o "
    "70$0123456789 71hnu{} 72SYbdgpq 73CPZ 74µ 76B 77AKRVX 81U 82G 83D 84#+<=>HN^~−×±≤≥ 85OQΩ 87& 90⚠ 92w 100%@M—… "
    "104m 110W",
}
SPACE = {False: 32, True: 35}
UNKNOWN = 100  # a sign not in the table is taken as wide as it is high


@cache
def _table(bold: bool) -> dict[str, int]:
    """Width of each sign."""
    made = {" ": SPACE[bold], "\N{NO-BREAK SPACE}": SPACE[bold]}
    for group in WIDTHS[bold].split(" "):
        digits = 3 if group.startswith("1") else 2
        made.update(dict.fromkeys(group[digits:], int(group[:digits])))
    return made


def width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of one line of text [mm] in letters of a size [mm]."""
    table = _table(bold)
    return size / 100 * sum(table.get(sign, UNKNOWN) for sign in text)


def lines(text: str, room: float, size: float, *, bold: bool = False) -> int:
    """How many lines a text takes in a column of a width [mm], broken at spaces alone (a browser breaks no worse)."""
    made, used = 1, 0.0
    space = width(" ", size, bold=bold)
    for word in filter(None, text.split(" ")):  # a no-break space stays inside its word
        wide = width(word, size, bold=bold)
        if used and used + space + wide > room:
            made, used = made + 1, wide
        else:
            used += wide + (space if used else 0.0)
    return made
