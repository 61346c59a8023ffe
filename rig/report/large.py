"""Readings in figures five lines high, to be read at arm's length."""

ROWS = 5
_FIGURES = {
    "0": ("███", "█ █", "█ █", "█ █", "███"),
    "1": (" █ ", "██ ", " █ ", " █ ", "███"),
    "2": ("███", "  █", "███", "█  ", "███"),
    "3": ("███", "  █", " ██", "  █", "███"),
    "4": ("█ █", "█ █", "███", "  █", "  █"),
    "5": ("███", "█  ", "███", "  █", "███"),
    "6": ("███", "█  ", "███", "█ █", "███"),
    "7": ("███", "  █", " █ ", " █ ", " █ "),
    "8": ("███", "█ █", "███", "█ █", "███"),
    "9": ("███", "█ █", "███", "  █", "███"),
    ".": (" ", " ", " ", " ", "█"),
    "-": ("   ", "   ", "███", "   ", "   "),
    "+": ("   ", "   ", "   ", "   ", "   "),  # a blank: figures stay in place when the sign changes
}


def large(number: str) -> list[str]:
    """Five lines of the number's figures; the last line carries what is no figure (a unit) as it stands.

    Every character is doubled in width, as terminals draw them twice as high as wide.
    """
    figures, rest = _split(number if number.startswith("-") else f"+{number}")
    lines = ["  ".join(_wide(_FIGURES[figure][row]) for figure in figures) for row in range(ROWS)]
    lines[-1] = f"{lines[-1]}  {rest}".rstrip()
    return lines


def _split(number: str) -> tuple[str, str]:
    for at, character in enumerate(number):
        if character not in _FIGURES:
            return number[:at], number[at:].strip()
    return number, ""


def _wide(text: str) -> str:
    return "".join(2 * character for character in text)
