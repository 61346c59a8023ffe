"""Exit codes of every command."""

from rig.analysis.result import Outcome

PASS, FAIL, WRONG_INPUT, UNDECIDED, STOPPED, UNREACHABLE = 0, 1, 2, 3, 4, 5

OF_OUTCOME = {
    Outcome.PASS: PASS,
    Outcome.FAIL: FAIL,
    Outcome.UNDECIDED: UNDECIDED,
    Outcome.STOPPED: STOPPED,
}
