"""Words, tables and addresses, read alike for channels, watchdogs and identities."""

import re

from rig.files import Choice, Section
from rig.stand.model import Table

LAST_ADDRESS = 65535
ADDRESSES = f"a zero-based address: 0, 1, 2 ... {LAST_ADDRESS}"
# Manuals number registers from one and put a digit for the table before: 40001 or 400001 is the first
# holding register (common practice; the standard's own data model, V1.1b3 4.4, has no such digit).
TABLE_OF_DIGIT = {"0": Table.COILS, "1": Table.DISCRETE, "3": Table.INPUT, "4": Table.HOLDING}
_LISTED = re.compile(r"([0134])(\d{4}|\d{5})")


def known_word(section: Section, key: str, choices: type[Choice]) -> Choice | None:
    """One of the words; None when it is missing or not known, which is told."""
    before = len(section.document.problems)
    found = section.choice(key, choices)
    return found if len(section.document.problems) == before else None


def address(section: Section, key: str, where: Table | None) -> int:
    """A zero-based address, -1 when it is missing or wrong. One that looks like a manual's register number
    is refused, unless it is written in hexadecimal. `where`: its table, None when that is not known."""
    text = section.text(key, "0")
    if not text or _is_listed(section, key, text, where):
        return -1
    try:
        number = int(text, 0)
    except ValueError:
        section.problem(key, f"'{text}' is not a whole number", ADDRESSES)
        return -1
    if not 0 <= number <= LAST_ADDRESS:
        section.problem(key, f"{number} is out of range", ADDRESSES)
        return -1
    return number


def _is_listed(section: Section, key: str, text: str, where: Table | None) -> bool:
    """Whether it is, or could be, a number of a one-based list, which is told."""
    found = _LISTED.fullmatch(text)
    if found is None or not 1 <= int(found[2]) <= LAST_ADDRESS + 1:
        return False
    table = TABLE_OF_DIGIT[found[1]]
    other = "" if where in (None, table) else f", not of {where.value}"
    really = f"; if it really is an address, write it {int(text):#x}" if int(text) <= LAST_ADDRESS else ""
    section.problem(
        key,
        f"{text} looks like a number from a one-based list of {table.value}{other}",
        f"addresses here are zero-based: {text} of the list is {table.value}, address {int(found[2]) - 1}"
        f"{really}",
    )
    return True
