"""The result as a table on the terminal."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from rig.analysis.result import CheckResult, Outcome
from rig.record.reader import Record
from rig.report.words import casing_words, causes_of, limits_text, measured_text, quantity_name, warnings_of
from rig.units import QUANTITY_DIMENSION, UnitSet

# Status colours after IEC 60073; the word stands beside them always.
OUTCOME_STYLE = {
    Outcome.PASS: "bold green",
    Outcome.FAIL: "bold red",
    Outcome.UNDECIDED: "bold yellow",
    Outcome.STOPPED: "bold red",
    Outcome.NOT_JUDGED: "dim",
    Outcome.NOT_MEASURED: "dim",
}


def print_result(console: Console, result: CheckResult, units: UnitSet, record: Record) -> None:
    """Trips first, then the quantities and the advice; warnings and the outcome last, where the eye is."""
    print_causes(console, record, result)
    console.print(result_table(result, units, record))
    for line in (*result.advice, *result.notes):
        console.print(Text(f"– {line}"))
    if record.pressure_is_inferred:
        console.print(Text("– No casing-pressure transmitter: pressures are inferred from the I/P."))
    print_end(console, record, units)
    word = result.outcome.value.upper()
    console.print(
        Text.assemble((word, OUTCOME_STYLE[result.outcome]), f"  {record.profile.title}, {result.basis}")
    )
    console.print(Text(f"Record: {record.folder}"), soft_wrap=True)


def print_causes(console: Console, record: Record, result: CheckResult) -> None:
    """Why a run was stopped, the first cause first; nothing where it was not."""
    for number, trip in enumerate(causes_of(record, result)):
        label = "first cause" if number == 0 else "then"
        console.print(Text.assemble((f"Stopped, {label}: ", "bold red"), trip))


def print_end(console: Console, record: Record, units: UnitSet) -> None:
    """What a person must know before going near the valve: warnings, and whether the air is gone."""
    for warning in warnings_of(record):
        console.print(Text.assemble(("Warning: ", "bold yellow"), warning))
    casing = casing_words(record, units)
    if casing:
        console.print(Text(casing))


def result_table(result: CheckResult, units: UnitSet, record: Record) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Quantity", no_wrap=True)
    for name in ("Measured", "± (95 %)"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("Unit", no_wrap=True)
    table.add_column("Limits", no_wrap=True)
    table.add_column("Outcome", no_wrap=True)
    for key, quantity in result.quantities.items():
        value, spread = measured_text(quantity, units)
        table.add_row(
            quantity_name(key, record.profile.action),
            value,
            spread.removeprefix("± "),
            units.symbol(QUANTITY_DIMENSION[key]),
            limits_text(quantity, units),
            Text(quantity.outcome.value, OUTCOME_STYLE[quantity.outcome]),
        )
    return table
