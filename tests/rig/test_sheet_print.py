"""The sheet as a browser prints it: one page, on both papers, however much there is to say."""

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from rig.analysis.result import CheckResult
from rig.profile.model import Action
from rig.record.reader import Record
from rig.report.sheet import sheet_html
from rig.units import UNIT_SETS

from .made_up import STAND, made_up_record, made_up_result, stopped_result

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
OPTIONS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
)
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here to print with")

LONG = tuple(f"Remark {n}: " + "tighten the adjuster and check again " * 5 for n in range(9))
CASES = {
    "usual": (made_up_record(), made_up_result()),
    "much to say": (
        made_up_record(Action.AIR_TO_CLOSE, stand=replace(STAND, casing_pressure=None)),
        replace(made_up_result(), advice=LONG, notes=LONG),
    ),
    "stopped": (made_up_record(keep=0.3), replace(stopped_result(LONG), advice=LONG)),
}


def pages(tmp_path: Path, html: str) -> int:
    """Print to PDF and count its page objects."""
    assert CHROMIUM is not None
    page, pdf = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    page.write_text(html, encoding="utf-8")
    command = [CHROMIUM, *OPTIONS, f"--user-data-dir={tmp_path / 'browser'}", f"--print-to-pdf={pdf}"]
    subprocess.run([*command, page.as_uri()], check=True, capture_output=True, timeout=120)
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf.read_bytes()))


@pytest.mark.parametrize("case", CASES)
def test_the_sheet_prints_on_one_page_of_either_paper(tmp_path: Path, case: str) -> None:
    record: Record
    result: CheckResult
    record, result = CASES[case]
    html = sheet_html(record, result, UNIT_SETS["psi"])
    # The shorter and the narrower of both papers at once: Letter's height, A4's width.
    assert "@page { margin: 10mm; }" in html
    assert pages(tmp_path, html.replace("@page {", "@page { size: 210mm 279.4mm;", 1)) == 1
