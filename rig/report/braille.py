"""A plot in text: every braille character holds 2 x 4 dots (Unicode block U+2800)."""

# Bit of a dot by its row (0 at the top) and column within the character.
_BITS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
_FIRST = 0x2800
BLANK = chr(_FIRST)


class BrailleGrid:
    """`columns` x `rows` characters; dots are set in shares of width and height, 0..1 from bottom left."""

    def __init__(self, columns: int, rows: int) -> None:
        self.columns, self.rows = columns, rows
        self._cells = [[0] * columns for _ in range(rows)]

    def set(self, x: float, y: float) -> None:
        """Set the dot nearest to (x, y); outside of the grid nothing happens."""
        if not (0.0 <= x <= 1.0 and 0.0 <= y <= 1.0):
            return
        column = min(int(x * self.columns * 2), self.columns * 2 - 1)
        row = min(int((1.0 - y) * self.rows * 4), self.rows * 4 - 1)
        self._cells[row // 4][column // 2] |= _BITS[row % 4][column % 2]

    def lines(self) -> list[str]:
        return ["".join(chr(_FIRST + cell) for cell in row) for row in self._cells]
