"""The JSON Schema of a stand file; `python -m rig.stand.schema` prints profiles/stand.schema.json."""

import json

from rig.schema_parts import Json, day, document, group, named, quantity, text, texts, whole, words, yes_no
from rig.stand.file_channels import ANALOG_ROLES, BIT_ROLES, OUTPUTS, dimension_of
from rig.stand.file_links import BAUDS, FED_BY, PARITIES, RTU, TCP
from rig.stand.file_live import CURRENT_LOOP, KEYS
from rig.stand.model import Number, Table, WordOrder
from rig.units import Dimension as D  # noqa: N817 - stands in every line here

REQUIRED = (
    "name",
    "addresses",
    "scan_rate",
    "maximum_pressure",
    "nominal_supply",
    "links",
    "modules",
    "channels",
)


def schema() -> Json:
    """Ready for json.dump."""
    needed = [role for role, must in ANALOG_ROLES.items() if must]
    channels = {role: _analog(role) for role in ANALOG_ROLES} | {role: _bit(role) for role in BIT_ROLES}
    return document(
        "Stand file",
        {
            "name": text("of the stand, as it stands on the sheet"),
            "description": text("a few words more"),
            "built_in": yes_no("answered by the simulated stand that the command starts itself"),
            "addresses": words(("zero-based",), "says that all addresses are as sent on the wire, from 0"),
            "scan_rate": quantity(D.FREQUENCY, "20 to 50 scans/s is usual"),
            "maximum_pressure": quantity(D.PRESSURE, "the stand's own cap on the casing pressure"),
            "nominal_supply": quantity(D.PRESSURE, "of the air that the stand is given"),
            "maximum_rate": quantity(D.PRESSURE_RATE, "the demand is never changed faster"),
            "links": named({"anyOf": [_tcp(), _rtu()]}, "lines and networks by a name of your own"),
            "modules": named(_module(), "units that answer, by a name of your own"),
            "channels": group(channels, needed, "signals by their role; what is not fitted is left out"),
            "hands_in": _hands_in(),
            "notes": texts("for the person at the stand"),
        },
        REQUIRED,
    )


def _hands_in() -> Json:
    return group(
        {
            "isolating_valve": yes_no("a valve at the casing, shut by hand, that keeps the air in"),
            "mechanical_stop": yes_no("a stop that is set against the stem"),
            "block": yes_no("a block that is laid between yoke and stem"),
        },
        (),
        "what keeps the stem where it is while hands are in the mechanism; asked for where it is missing",
    )


def _tcp() -> Json:
    return group(
        {
            "kind": words((TCP,), "Modbus TCP"),
            "host": text("name or address of the device"),
            "port": whole(1, 65535, "502 is usual"),
            "deadline": quantity(D.TIME, "an answer later than this is none"),
            "one_connection": yes_no("the device takes one connection only"),
        },
        ("kind", "host", "port"),
        "a device on the network",
    )


def _rtu() -> Json:
    return group(
        {
            "kind": words((RTU,), "Modbus RTU"),
            "device": text("the serial port, such as /dev/ttyUSB0 or COM3"),
            "baud": {"enum": list(BAUDS), "description": "speed of the line"},
            "parity": words(PARITIES, "even where it is not given"),
            "stop_bits": whole(1, 2, "1 where it is not given"),
            "deadline": quantity(D.TIME, "an answer later than this is none"),
            "slowest_reply": quantity(
                D.TIME, "how late an answer may still come: the line is left alone so long"
            ),
        },
        ("kind", "device", "baud"),
        "a serial line",
    )


def _module() -> Json:
    return group(
        {
            "link": text("name of its link"),
            "unit": whole(0, 255, "its unit number"),
            "max_read": whole(1, 125, "registers that it gives in one read"),
            "read_gaps": yes_no("no: it refuses a read across registers that it does not have"),
            "write_function": {"enum": [6, 16], "description": "the only function that writes its registers"},
            "coil_write_function": {
                "enum": [5, 15],
                "description": "the only function that writes its coils",
            },
            "watchdog": _watchdog(),
            "identity": _identity(),
        },
        ("link", "unit"),
        "a unit that answers",
    )


def _watchdog() -> Json:
    return group(
        {
            "timeout": quantity(D.TIME, "after this long without food the module takes its outputs down"),
            "fed_by": words(FED_BY, "what counts as a sign of life"),
            "timeout_register": whole(0, 65535, "holding register that takes the timeout; 0 in it disarms"),
            "timeout_unit": quantity(D.TIME, "of one count of that register"),
            "latched": yes_no("stays tripped until it is reset"),
            "reset_register": whole(0, 65535, "holding register that resets it"),
            "reset_value": whole(0, 65535, "what resets it when written there"),
        },
        ("timeout", "fed_by"),
        "the module's own communication watchdog",
    )


def _identity() -> Json:
    return group(
        {
            "table": words(Table, "where"),
            "address": whole(0, 65535, "zero-based"),
            "value": whole(0, 65535, "what it always holds"),
        },
        ("table", "address", "value"),
        "a register that proves that the right device answers",
    )


def _analog(role: str) -> Json:
    dimension, output = dimension_of(role), role in OUTPUTS
    scale: Json = {
        "type": "object",
        "additionalProperties": quantity(dimension, "what that raw number means"),
        "minProperties": 2,
        "maxProperties": 2,
        "description": "two points, raw: quantity",
    }
    accuracy = "half width: 0.1 % of span, or a quantity"
    properties = _place() | {
        "number": words(Number, "how the number lies in its registers"),
        "word_order": words(WordOrder, "of a number of two registers"),
        "scale": scale,
        "accuracy": {"type": "string", "description": accuracy},
        "calibrated": day("year-month-day"),
        "due": day("year-month-day; without it the calibration counts as overdue"),
        "certificate": text("of the calibration"),
    }
    if not output:
        levels = {key: {"type": "number"} for key in KEYS}
        properties |= {
            "signal": words((CURRENT_LOOP, "none"), f"{CURRENT_LOOP}: live range by NAMUR NE 43"),
            "live": group(levels, KEYS, "raw: failed at or beyond failed_*, good from low to high"),
            "lag": quantity(D.TIME, "first-order lag of the transmitter"),
        }
    return group(
        properties, ("module", "table", "address", "number", "scale", "accuracy"), role.replace("_", " ")
    )


def _bit(role: str) -> Json:
    properties = _place() | {
        "bit": whole(0, 15, "in a register, 0 is the least significant"),
        "inverted": yes_no("0 on the wire is the healthy or energised state"),
    }
    return group(properties, ("module", "table", "address"), role.replace("_", " "))


def _place() -> Json:
    return {
        "module": text("name of its module"),
        "table": words(Table, "where it lies"),
        "address": whole(0, 65535, "zero-based"),
    }


if __name__ == "__main__":
    print(json.dumps(schema(), indent=2, ensure_ascii=False))
