"""Figures five lines high and valve sockets from below, in plain characters: to be read from where the probe is."""

from firstglow.sheets.socket import BASES, SIZE, base_of, pin_places

HIGH = 5
# Seven-stroke figures and plain capitals; each row of a letter is one string of # and spaces.
_FONT: dict[str, tuple[str, ...]] = {
    "0": (" ### ", "#   #", "#   #", "#   #", " ### "),
    "1": ("  #  ", " ##  ", "  #  ", "  #  ", " ### "),
    "2": ("#### ", "    #", " ### ", "#    ", "#####"),
    "3": ("#### ", "    #", " ### ", "    #", "#### "),
    "4": ("#   #", "#   #", "#####", "    #", "    #"),
    "5": ("#####", "#    ", "#### ", "    #", "#### "),
    "6": (" ### ", "#    ", "#### ", "#   #", " ### "),
    "7": ("#####", "    #", "   # ", "  #  ", "  #  "),
    "8": (" ### ", "#   #", " ### ", "#   #", " ### "),
    "9": (" ### ", "#   #", " ####", "    #", " ### "),
    ".": ("  ", "  ", "  ", "  ", "##"),
    "-": ("    ", "    ", "####", "    ", "    "),
    " ": ("  ", "  ", "  ", "  ", "  "),
    "%": ("##  #", "   # ", "  #  ", " #   ", "#  ##"),
    "m": ("       ", "## ### ", "#  #  #", "#  #  #", "#  #  #"),
    "k": ("#   ", "#  #", "# # ", "##  ", "# ##"),
    "µ": ("     ", "#   #", "#   #", "#  ##", "### #"),
    "Ω": (" ### ", "#   #", "#   #", " # # ", "## ##"),
    "A": ("  #  ", " # # ", "#   #", "#####", "#   #"),
    "D": ("#### ", "#   #", "#   #", "#   #", "#### "),
    "E": ("#####", "#    ", "###  ", "#    ", "#####"),
    "F": ("#####", "#    ", "###  ", "#    ", "#    "),
    "G": (" ####", "#    ", "#  ##", "#   #", " ####"),
    "H": ("#   #", "#   #", "#####", "#   #", "#   #"),
    "I": ("###", " # ", " # ", " # ", "###"),
    "K": ("#   #", "#  # ", "###  ", "#  # ", "#   #"),
    "L": ("#    ", "#    ", "#    ", "#    ", "#####"),
    "M": ("#   #", "## ##", "# # #", "#   #", "#   #"),
    "N": ("#   #", "##  #", "# # #", "#  ##", "#   #"),
    "O": (" ### ", "#   #", "#   #", "#   #", " ### "),
    "P": ("#### ", "#   #", "#### ", "#    ", "#    "),
    "R": ("#### ", "#   #", "#### ", "#  # ", "#   #"),
    "S": (" ####", "#    ", " ### ", "    #", "#### "),
    "U": ("#   #", "#   #", "#   #", "#   #", " ### "),
    "V": ("#   #", "#   #", "#   #", " # # ", "  #  "),
    "Y": ("#   #", " # # ", "  #  ", "  #  ", "  #  "),
}
# What tells pin 1 from the last, at the bottom of the drawing.
_MARKS = {"noval": "gap", "B7G": "gap", "octal": "key", "UX4": "thick"}
# The drawing is about 7 by 14 characters to the 20 mm of the printed one: a character is twice as high as wide.
ROWS, COLUMNS = 9, 25


def counted_from(base: str) -> str:
    """Where the pins of a socket are counted from, in words: ``the gap (noval)``; "" where it has neither gap nor key."""
    mark = _MARKS.get(family := base_of(base) or "")
    return f"the {mark} ({family})" if mark in ("gap", "key") else ""


def block(text: str, ink: str = "█") -> list[str]:
    """``text`` five lines high; characters it has no figure for stand plain on the last line."""
    lines = [""] * HIGH
    for letter in text.replace("−", "-"):
        rows = _FONT.get(letter) or (*([" " * len(letter)] * (HIGH - 1)), letter)
        lines = [f"{line}{row} " for line, row in zip(lines, rows, strict=True)]
    return [line.replace("#", ink).rstrip() for line in lines]


def socket(base: str, ringed: int) -> list[str]:
    """A socket seen from below with one pin ringed: ``(7)``; no lines for a base it has no drawing of."""
    family = base_of(base)
    if family not in BASES:
        return []
    grid = [[" "] * COLUMNS for _ in range(ROWS)]
    for number, (x, y) in pin_places(family).items():
        row = round((y / SIZE - 0.5) * 1.35 * (ROWS - 1) + (ROWS - 1) / 2)
        column = round((x / SIZE - 0.5) * 1.35 * (COLUMNS - 5) + (COLUMNS - 1) / 2)
        text = f"({number})" if number == ringed else f"{number}"
        start = column - len(text) // 2
        for offset, letter in enumerate(text):
            grid[min(max(row, 0), ROWS - 1)][start + offset] = letter
    for row, text in ((ROWS // 2, "from below"), (ROWS - 1, _MARKS[family])):
        for offset, letter in enumerate(text):
            grid[row][COLUMNS // 2 - len(text) // 2 + offset] = letter
    return ["".join(line).rstrip() for line in grid]
