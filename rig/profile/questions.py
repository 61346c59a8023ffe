"""What a technician is asked for a new profile: what is on the tag and what the tape measure says."""

from dataclasses import dataclass
from enum import StrEnum

from rig.profile.model import Action, Basis, Flow, Mounting, Plug


@dataclass(frozen=True, slots=True)
class Question:
    """`field` as in the file; the comment goes beside the answer."""

    field: str
    ask: str
    example: str
    comment: str = ""
    choices: tuple[str, ...] = ()
    optional: bool = False
    only_after: str = ""  # asked only where this field was answered
    many: bool = False  # several answers, apart by commas


def _words(choices: type[StrEnum]) -> tuple[str, ...]:
    return tuple(choice.value for choice in choices)


QUESTIONS = (
    Question("model", "A short name for this model (letters, digits, hyphens)", "brine-letdown"),
    Question("title", "What the valve is, in a few words", "Brine let-down valve"),
    Question("action", "What does air do?", "air-to-open", "what air does", _words(Action)),
    Question("effective_area", "Effective area of the diaphragm, from the tag", "105 in2 or 677 cm2"),
    Question(
        "rated_travel", "Rated travel of the valve", "1-1/8 in or 28.6 mm", "below it nothing is accepted"
    ),
    Question("travel_surplus", "How much above rated travel is accepted?", "1/32 in", "accepted above rated"),
    Question(
        "actuator_stroke",
        "The actuator's own stroke, uncoupled, if it was measured",
        "1-3/8 in",
        "the actuator's own, uncoupled; what exceeds the travel is the slack",
        optional=True,
    ),
    Question("casing_maximum", "Highest pressure the casing may ever see, from the tag", "50 psi"),
    Question("supply", "Supply the valve has in service", "40 psi", "the air the valve has in service"),
    Question("bench_range.lower", "Lower end of the bench range", "10 psi", "the adjuster sets this end"),
    Question("bench_range.upper", "Upper end of the bench range", "30 psi", "the spring sets the span"),
    Question(
        "bench_range.basis",
        "Is the range meant with the friction in it, or for the spring alone?",
        "friction included",
        "what the range is meant on",
        _words(Basis),
    ),
    Question("bench_range.lower_tolerance", "Tolerance of the lower end, each way", "0.5 psi", "each way"),
    Question("bench_range.upper_tolerance", "Tolerance of the upper end, each way", "1.5 psi", "each way"),
    Question("spring_rate", "Spring rate, if it is known", "1867 lbf/in", optional=True),
    Question(
        "adjuster_thread",
        "Thread of the adjuster, or its pitch, if it is known",
        "3/4-16 UNF or 1.59 mm",
        "one turn moves the spring by its pitch",
        optional=True,
    ),
    Question("required_seat_load", "Seat load required, if it is given", "800 lbf", optional=True),
    Question("supply_margin", "Margin wanted above the lowest supply", "2 psi", optional=True),
    Question(
        "obtainable_ranges",
        "Bench ranges of the springs to be had, with commas between them",
        "6 to 30 psi, 10 to 30 psi",
        "of the springs to be had",
        optional=True,
        many=True,
    ),
    Question("trim.seat_bore", "Seat bore", "2-1/4 in", optional=True),
    Question(
        "trim.seat_line_load",
        "Load per length of seat line",
        "60 lbf/in",
        optional=True,
        only_after="trim.seat_bore",
    ),
    Question(
        "trim.seat_line_load_source",
        "Where does that load per length come from?",
        "the trim sheet, page 3",
        "published tables differ",
        only_after="trim.seat_line_load",
    ),
    Question("trim.stem_diameter", "Stem diameter in the packing", "1/2 in", optional=True),
    Question("trim.plug", "Which way does the plug close?", "push-down-to-close", "", _words(Plug), True),
    Question("trim.flow", "Which way does the flow push?", "flow-to-open", "", _words(Flow), True),
    Question("trim.packing_friction", "Packing friction to allow for", "60 lbf", "half band", optional=True),
    Question("trim.moving_weight", "Weight of stem, plug and connector", "20 lb", optional=True),
    Question(
        "trim.mounting",
        "How does it stand in service?",
        "upright",
        "in service; on the stand it is upright",
        _words(Mounting),
        True,
    ),
    Question("process.upstream", "Pressure before the shut valve", "100 psi", "at shut-off", optional=True),
    Question(
        "process.downstream", "Pressure behind it", "20 psi", "at shut-off", only_after="process.upstream"
    ),
)
