"""`stemrig profile from RECORD --area AREA`: a profile proposed from a measured stroke."""

import sys
from dataclasses import replace
from pathlib import Path

from rig.cli.exits import PASS, WRONG_INPUT


def propose_one(
    folder: Path | None, area: str | None, model: str | None, output: Path | None, units_name: str
) -> int:
    """To standard output, or to a file that is not there yet."""
    from rig.record.problem import RecordProblem
    from rig.report.proposal import NotMeasured
    from rig.units import UnitError

    lacking = _lacking(folder, area, output)
    if lacking or folder is None or area is None:
        print(lacking, file=sys.stderr)
        return WRONG_INPUT
    try:
        text = _proposed(folder, area, model, units_name)
    except UnitError as error:
        print(f"--area: {error.found}\n    {error.would_do}", file=sys.stderr)
        return WRONG_INPUT
    except RecordProblem as problem:
        print(problem, file=sys.stderr)
        return WRONG_INPUT
    except NotMeasured as problem:
        print(f"{folder}: {problem}", file=sys.stderr)
        return WRONG_INPUT
    _tell_problems(text)
    _tell_left_out(text, folder)
    if output is None:
        print(text, end="")
    else:
        with output.open("x", encoding="utf-8") as file:
            file.write(text)
        print(f"Written: {output}")
    return PASS


def _lacking(folder: Path | None, area: str | None, output: Path | None) -> str:
    if folder is None:
        return "profile from: name the record folder of a measured stroke"
    if area is None:
        return (
            "profile from: give the effective area from the tag with --area, for example --area '105 in2': "
            "no stroke can measure it"
        )
    if output is not None and output.exists():
        return f"{output}: is already there; name another file with --output"
    return ""


def _proposed(folder: Path, area: str, model: str | None, units_name: str) -> str:
    from rig.cli.outcome import read_check, result_of
    from rig.report.proposal import Proposal
    from rig.units import UNIT_SETS, Dimension, parse

    area_m2 = parse(area, Dimension.AREA)
    record = read_check(folder)
    profile = replace(record.profile, area_m2=area_m2)
    result = result_of(replace(record, profile=profile))
    name = model or record.profile.model
    return Proposal(profile, result, UNIT_SETS[units_name], name, record.record_id).text()


def _tell_left_out(text: str, folder: Path) -> None:
    """What the record's own profile says beside: a stroke does not measure it, so it is not proposed."""
    left_out = sorted(_keys((folder / "profile.yaml").read_text(encoding="utf-8")) - _keys(text))
    if left_out:
        print(f"left out, write it in where it holds for this valve: {', '.join(left_out)}", file=sys.stderr)


def _keys(text: str) -> set[str]:
    """'supply', 'trim.plug': every key of a profile."""
    import yaml

    found = set()
    for key, value in yaml.safe_load(text).items():
        found |= {f"{key}.{inner}" for inner in value} if isinstance(value, dict) else {str(key)}
    return found


def _tell_problems(text: str) -> None:
    """What the proposal's own figures contradict, so that it is mended before it is used."""
    from rig.profile.interview import problems_of

    for problem in problems_of(text):
        print(f"to mend: {problem.field}: {problem.found}; {problem.would_do}", file=sys.stderr)
