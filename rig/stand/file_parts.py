"""Tables and addresses, read alike for channels, watchdogs and identities."""

from rig.files import Section
from rig.stand.model import Table

# First and last number of the one-based register lists that manuals print, by table.
LISTED = {
    Table.COILS: (),  # 1 to 9999 cannot be told from an address
    Table.DISCRETE: ((10001, 19999), (100001, 165536)),
    Table.INPUT: ((30001, 39999), (300001, 365536)),
    Table.HOLDING: ((40001, 49999), (400001, 465536)),
}


def table(section: Section) -> Table:
    return section.choice("table", Table)


def address(section: Section, key: str, where: Table | None) -> int:
    """A zero-based address, -1 when it is missing or wrong. One that looks like a manual's register number
    is refused, unless it is written in hexadecimal. `where`: its table, None for holding registers."""
    text = section.text(key, "0")
    try:
        number = int(text, 0)
    except ValueError:
        if text:
            section.problem(key, f"'{text}' is not a whole number", "a zero-based address: 0, 1, 2 ... 65535")
        return -1
    for first, last in LISTED[where or Table.HOLDING]:
        if first <= number <= last and not text.lower().startswith("0x"):
            really = f"; if it really is an address, write it {number:#x}" if number <= 65535 else ""
            section.problem(
                key,
                f"{number} looks like a number from a one-based register list",
                f"addresses here are zero-based: {number} of the list is address {number - first}{really}",
            )
            return -1
    if not 0 <= number <= 65535:
        section.problem(key, f"{number} is out of range", "a zero-based address: 0, 1, 2 ... 65535")
        return -1
    return number
