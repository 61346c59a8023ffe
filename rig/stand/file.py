"""Loading a stand file: from a file, from a shipped name, from the text kept in a record."""

from collections.abc import Callable, Mapping
from math import nan
from pathlib import Path
from typing import TypeVar

from rig.files import Document, Section, find, read_text, shipped
from rig.stand.file_channels import ANALOG_ROLES, BIT_ROLES, read_analog, read_bit
from rig.stand.file_checks import check_parts, check_stand
from rig.stand.file_links import read_link, read_module
from rig.stand.model import AgainstMovement, AnalogChannel, BitChannel, RtuLink, Stand, TcpLink
from rig.units import Dimension

Part = TypeVar("Part")
PACKAGE, KIND = "profiles.stands", "a stand file"
LOWEST_SCANS_PER_S, HIGHEST_SCANS_PER_S = 1.0, 200.0


def shipped_stands() -> Mapping[str, Path]:
    """The stands that come with the program, by name."""
    return shipped(PACKAGE)


def load_stand(path_or_name: str | Path) -> Stand:
    """A stand file, or a shipped one by its bare name. Raises FileProblems with everything found."""
    path = find(path_or_name, PACKAGE, KIND)
    return load_stand_text(read_text(path), str(path))


def stand_text(path_or_name: str | Path) -> str:
    """The file as it stands, for the record's copy. Raises FileProblems."""
    return read_text(find(path_or_name, PACKAGE, KIND))


def load_stand_text(text: str, source: str) -> Stand:
    """A stand from the text of its file. Raises FileProblems with everything found."""
    document = Document(text, source, KIND)
    root = document.root
    _addresses(root)
    facts = _Facts(root)
    links: dict[str, TcpLink | RtuLink] = _named(
        root, "links", "{bay: {kind: modbus tcp, host: 10.0.0.5, port: 502}}", read_link
    )
    modules = _named(root, "modules", "{inputs: {link: bay, unit: 1}}", read_module)
    analog, bits, sections = _channels(root)
    root.finish()
    check_parts(root, links, modules, {**analog, **bits}, sections)
    document.raise_problems()
    stand = Stand(
        name=facts.name,
        scans_per_s=facts.scans_per_s,
        maximum_pressure_pa=facts.maximum_pressure_pa,
        supply_pressure_pa=facts.nominal_supply_pa,
        links=links,
        modules=modules,
        demand_output=analog.pop("demand_output"),
        stem_position=analog.pop("stem_position"),
        description=facts.description,
        maximum_rate_pa_per_s=facts.maximum_rate_pa_per_s,
        built_in=facts.built_in,
        source=source,
        notes=facts.notes,
        hands_in=facts.hands_in,
        **analog,  # type: ignore[arg-type]  # roles are the names of the model's fields
        **bits,  # type: ignore[arg-type]
    )
    check_stand(root, stand, sections)
    document.raise_problems()
    return stand


class _Facts:
    """What the file says of the stand as a whole; nan where it says it wrongly."""

    def __init__(self, root: Section) -> None:
        self.name = root.text("name", "Bay 2, permeate hall")
        self.description = root.text_or_none("description") or ""
        self.built_in = root.yes("built_in")
        self.scans_per_s = root.quantity("scan_rate", Dimension.FREQUENCY, "50 scans/s")
        self.maximum_pressure_pa = root.quantity("maximum_pressure", Dimension.PRESSURE, "50 psi")
        self.nominal_supply_pa = root.quantity("nominal_supply", Dimension.PRESSURE, "60 psi")
        self.maximum_rate_pa_per_s = root.quantity_or_none("maximum_rate", Dimension.PRESSURE_RATE)
        self.notes = root.texts("notes")
        self.hands_in = _against_movement(root)
        if self.scans_per_s < LOWEST_SCANS_PER_S or self.scans_per_s > HIGHEST_SCANS_PER_S:
            root.problem(
                "scan_rate", f"{self.scans_per_s:g} scans/s is out of range", "20 to 50 scans/s is usual"
            )
        for key, value in (
            ("maximum_pressure", self.maximum_pressure_pa),
            ("nominal_supply", self.nominal_supply_pa),
            ("maximum_rate", nan if self.maximum_rate_pa_per_s is None else self.maximum_rate_pa_per_s),
        ):
            if value <= 0.0:
                root.problem(key, "is not above zero", "give what the stand is made for")


def _against_movement(root: Section) -> AgainstMovement:
    section = root.section_or_none("hands_in", "{isolating_valve: yes, mechanical_stop: no, block: yes}")
    if section is None:
        return AgainstMovement()
    read = AgainstMovement(
        section.yes("isolating_valve"), section.yes("mechanical_stop"), section.yes("block")
    )
    section.finish()
    return read


def _addresses(root: Section) -> None:
    """Whoever writes addresses has to have thought of how they count."""
    said = root.text_or_none("addresses")
    explained = "all addresses are as sent on the wire, from 0; 40001 of a register list is address 0 here"
    if said is None:
        root.missing("addresses", f"add the line addresses: zero-based; {explained}")
    elif said.lower() != "zero-based":
        root.problem("addresses", f"'{said}' is not offered", f"write zero-based; {explained}")


def _named(
    root: Section, key: str, example: str, read: Callable[[Section, str], Part | None]
) -> dict[str, Part]:
    """Links or modules by name, those that could be read."""
    group = root.section(key, example)
    if group is None:
        return {}
    found: dict[str, Part] = {}
    for name in group.names:
        part = group.section(name, "{...}")
        thing = read(part, name) if part is not None else None
        if thing is not None:
            found[name] = thing
    return found


def _channels(
    root: Section,
) -> tuple[dict[str, AnalogChannel], dict[str, BitChannel], dict[str, Section]]:
    """The channels by role, and where each stands in the file."""
    analog: dict[str, AnalogChannel] = {}
    bits: dict[str, BitChannel] = {}
    sections: dict[str, Section] = {}
    group = root.section("channels", "{demand_output: {...}, stem_position: {...}}")
    if group is None:
        return analog, bits, sections
    for role, needed in ANALOG_ROLES.items():
        read = group.section if needed else group.section_or_none
        if (section := read(role, "{module: inputs, address: 0, ...}")) is not None:
            sections[role] = section
            if (channel := read_analog(section, role)) is not None:
                analog[role] = channel
    for role in BIT_ROLES:
        if (section := group.section_or_none(role, "{module: inputs, address: 0, ...}")) is not None:
            sections[role] = section
            if (bit := read_bit(section, role)) is not None:
                bits[role] = bit
    group.finish()
    return analog, bits, sections
