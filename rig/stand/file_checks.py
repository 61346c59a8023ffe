"""What cannot be beside each other in a stand file: references, overlaps, ranges, the speed of a line."""

from collections.abc import Iterator, Mapping

from rig.files import Section, did_you_mean
from rig.stand.blocks import Channel, extent, is_bits
from rig.stand.file_channels import OUTPUTS
from rig.stand.model import AnalogChannel, BitChannel, Module, RtuLink, Stand, Table, TcpLink
from rig.stand.outputs import FEEDS_PER_TIMEOUT
from rig.stand.wire_use import too_fast
from rig.units import UNIT_SETS, Dimension

Links = Mapping[str, TcpLink | RtuLink]
# A read-back may be the output's own register, read again.
READBACK_OF = {
    "demand_readback": "demand_output",
    "supply_valve_readback": "supply_valve",
    "vent_valve_readback": "vent_valve",
}
LAST_RTU_UNIT = 247  # MODBUS over Serial Line V1.02, 2.2: 0 is broadcast, 248 to 255 are reserved


def check_parts(
    root: Section,
    links: Links,
    modules: Mapping[str, Module],
    channels: Mapping[str, Channel],
    sections: Mapping[str, Section],
) -> None:
    """Every part against the others, as far as they could be read."""
    _links(root.section_or_none("links", ""), links)
    _modules(root, links, modules)
    module_names = _names(root, "modules")
    for role, channel in channels.items():
        if channel.module not in module_names:
            sections[role].problem(
                "module", f"there is no module '{channel.module}'", did_you_mean(channel.module, module_names)
            )
        elif channel.module in modules:
            _channel(sections[role], channel, modules[channel.module])
    _overlaps(channels, modules, sections)


def _names(root: Section, key: str) -> tuple[str, ...]:
    group = root.section_or_none(key, "")
    return group.names if group is not None else ()


def _links(group: Section | None, links: Links) -> None:
    devices: dict[str, str] = {}
    for name, link in links.items():
        if isinstance(link, RtuLink) and group is not None:
            if link.device in devices:
                group.problem(
                    name,
                    f"uses {link.device}, like {devices[link.device]}",
                    "one line is one link: put all its modules on that",
                )
            devices.setdefault(link.device, name)


def _modules(root: Section, links: Links, modules: Mapping[str, Module]) -> None:
    group = root.section_or_none("modules", "")
    taken: dict[tuple[str, int], str] = {}
    for name, module in modules.items():
        section = group.section_or_none(name, "") if group is not None else None
        if section is None:
            continue
        if module.link not in _names(root, "links"):
            section.problem(
                "link", f"there is no link '{module.link}'", did_you_mean(module.link, _names(root, "links"))
            )
        rtu = isinstance(links.get(module.link), RtuLink)
        if rtu and not 1 <= module.unit <= LAST_RTU_UNIT:
            section.problem(
                "unit", f"{module.unit} is no unit of a serial line", f"from 1 to {LAST_RTU_UNIT}"
            )
        key = (module.link, module.unit)
        if key in taken:
            section.problem(
                "unit", f"{module.unit} on {module.link} is {taken[key]} already", "each unit stands once"
            )
        taken.setdefault(key, name)


def _channel(section: Section, channel: Channel, module: Module) -> None:
    """One channel against its module."""
    if not isinstance(channel, AnalogChannel) or extent(channel) == 1:
        return
    if module.max_read < extent(channel) and channel.role not in OUTPUTS:
        section.problem(
            "number",
            f"takes {extent(channel)} registers, {module.name} reads {module.max_read}",
            "see max_read",
        )
    if channel.role in OUTPUTS and module.write_function == 6:
        section.problem(
            "number",
            f"{channel.number.value} takes two registers, and function 6 writes one after the other",
            "in between, the output would be neither value: use function 16 or a number of one register",
        )


def _overlaps(
    channels: Mapping[str, Channel], modules: Mapping[str, Module], sections: Mapping[str, Section]
) -> None:
    """No register or bit means two things."""
    taken: dict[tuple[str, Table, int, int | None], str] = {}
    for module in modules.values():
        for table, at, what in _service_registers(module):
            taken[module.name, table, at, None] = f"the {what} of {module.name}"
    for role, channel in channels.items():
        for spot in _spots(channel):
            other = _taken_by(taken, spot)
            if other is not None and READBACK_OF.get(role) != other:
                place = f"{channel.table.value}, address {spot[2]}"
                place += "" if spot[3] is None else f", bit {spot[3]}"
                words = f"{place} of {channel.module} is {other} already"
                sections[role].problem("address", words, "one register or bit means one thing")
                break
            taken.setdefault(spot, role)


def _service_registers(module: Module) -> Iterator[tuple[Table, int, str]]:
    dog = module.watchdog
    if dog is not None and dog.timeout_register is not None:
        yield Table.HOLDING, dog.timeout_register, "watchdog's timeout"
    if dog is not None and dog.reset_register is not None:
        yield Table.HOLDING, dog.reset_register, "watchdog's reset"
    if module.identity is not None:
        yield module.identity.table, module.identity.address, "identity"


def _spots(channel: Channel) -> Iterator[tuple[str, Table, int, int | None]]:
    bit = channel.bit if isinstance(channel, BitChannel) and not is_bits(channel.table) else None
    for offset in range(extent(channel)):
        yield channel.module, channel.table, channel.address + offset, bit


def _taken_by(
    taken: Mapping[tuple[str, Table, int, int | None], str], spot: tuple[str, Table, int, int | None]
) -> str | None:
    """A whole register collides with each of its bits."""
    module, table, at, bit = spot
    if bit is not None:
        return taken.get(spot) or taken.get((module, table, at, None))
    return next((name for key, name in taken.items() if key[:3] == (module, table, at)), None)


def check_stand(root: Section, stand: Stand, sections: Mapping[str, Section]) -> None:
    """The whole stand, once every part of it is right."""
    _pressures(root, stand, sections)
    _watchdogs(root, stand)
    for name, words in too_fast(stand).items():
        root.problem("scan_rate", f"{stand.scans_per_s:g} scans/s is more than {name} can carry", words)


def _pressures(root: Section, stand: Stand, sections: Mapping[str, Section]) -> None:
    most = stand.maximum_pressure_pa

    def pressure(value_pa: float) -> str:
        return UNIT_SETS["psi"].text(Dimension.PRESSURE, value_pa)

    for role, channel in (("demand_output", stand.demand_output), ("casing_pressure", stand.casing_pressure)):
        if channel is None:
            continue
        top = max(channel.scale.value_low, channel.scale.value_high)
        if most > top * (1.0 + 1e-9):
            root.problem(
                "maximum_pressure",
                f"{pressure(most)} is beyond the scale of {role}, {pressure(top)}",
                "the stand may go no higher than it can command and measure",
            )


def _watchdogs(root: Section, stand: Stand) -> None:
    group = root.section_or_none("modules", "")
    for name, module in stand.modules.items():
        dog = module.watchdog
        if dog is None or dog.timeout_s >= FEEDS_PER_TIMEOUT / stand.scans_per_s:
            continue
        section = group.section_or_none(name, "") if group is not None else None
        part = section.section_or_none("watchdog", "") if section is not None else None
        (part or root).problem(
            "timeout",
            f"{dog.timeout_s:g} s is less than {FEEDS_PER_TIMEOUT} scans at {stand.scans_per_s:g} scans/s",
            f"one lost answer would trip it: at least {FEEDS_PER_TIMEOUT / stand.scans_per_s:g} s",
        )
