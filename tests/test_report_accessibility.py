"""Every page under axe-core, and on narrow screens."""

from __future__ import annotations

import dataclasses
import math
from datetime import UTC, datetime
from pathlib import Path

import pytest
from browser import TELL, WATCH, check_nothing_sticks_out, drive, full_review, probed, what_if
from invented_review import PLAN

from infantmon.corpus.summary import Summary, write_summary
from infantmon.downloads.download import download_of
from infantmon.downloads.page import downloads_html
from infantmon.downloads.summary import summarise_downloads
from infantmon.report.excerpts_page import Excerpts, excerpts_page
from infantmon.report.page import review_page

pytestmark = pytest.mark.browser


RUN_AXE = """
<script>
axe.run(document, { resultTypes: ["violations"] }).then(function (found) {
  const note = document.createElement("pre");
  note.id = "probe";
  note.textContent = JSON.stringify(found.violations.map(fault => ({
    rule: fault.id, impact: fault.impact, where: fault.nodes.slice(0, 3).map(node => node.html),
  })));
  document.body.append(note);
});
</script>
"""


@pytest.mark.parametrize("width", [1440, 500])
def test_axe_finds_no_serious_fault(chromium: str, tmp_path: Path, axe: str, width: int) -> None:
    assert (
        axe_faults(chromium, tmp_path, axe, review_page(full_review(), what_if=what_if()), width)
        == []
    )


@pytest.mark.parametrize("width", [1440, 500])
def test_axe_finds_no_fault_on_the_page_of_a_folder(
    chromium: str, tmp_path: Path, axe: str, width: int
) -> None:
    review = full_review()
    kept = Excerpts(8, "0.0.test")
    kept.add(review, "<script>window.faults.push('excerpt')</script>")
    page = excerpts_page(review.recorded, kept, review.decisions, PLAN, identity=True)
    assert axe_faults(chromium, tmp_path, axe, page, width) == []
    page = page.replace("<body>", "<body>" + WATCH).replace("</body>", TELL + "</body>")
    told = probed(drive(chromium, tmp_path, page, "--dump-dom"))
    assert told["faults"] == []
    assert len(told["listed"]) == told["forms"] == len(review.recorded.judged)
    assert told["strips"] == []


@pytest.mark.parametrize("width", [1440, 500])
def test_axe_finds_no_fault_on_the_page_of_many_downloads(
    chromium: str, tmp_path: Path, axe: str, width: int
) -> None:
    review = full_review()
    started = datetime(2031, 5, 2, 23, 0, tzinfo=UTC)
    dated = dataclasses.replace(
        review, recording=dataclasses.replace(review.recording, started_at=started)
    )
    name = "<script>window.faults.push('download')</script>"
    summary = summarise_downloads([download_of(dated, name=name)], unread={name: name})
    page = downloads_html(summary, identity=True)
    assert axe_faults(chromium, tmp_path, axe, page, width) == []
    page = page.replace("<body>", "<body>" + WATCH).replace("</body>", TELL + "</body>")
    assert probed(drive(chromium, tmp_path, page, "--dump-dom"))["faults"] == []


def corpus_page(folder: Path) -> str:
    """Return the summary of a corpus with all that can be in it, of invented figures."""
    rows: list[dict[str, object]] = []
    for what, group, limits, kinds in (
        ("events an hour", "all ages", "the limits in force", ("apnea", "low heart rate")),
        ("events an hour", "32 to 36 weeks", "the limits in force", ("apnea", "all alarms")),
        ("what if", "all ages", "apnea: limit 15 s; low heart rate: not watched", ("apnea",)),
        ("lost time", "all ages", "", ("ecg", "impedance")),
        ("lost time", "age not given", "", ("ecg",)),
    ):
        figures = {"count": 1234.0, "figure": 0.123456, "low": 0.1, "high": 12345.6}
        rows += [
            {"what": what, "group": group, "limits": limits, "kind": kind, "recordings": 9999}
            | {"infants": 321, "hours": 12345.6, "supported": 1000.0, **figures}
            for kind in kinds
        ]
    rows[-1] |= dict.fromkeys(("count", "figure", "low", "high"), math.nan) | {"recordings": 0}
    reasons = ["the recording " + "<script>window.faults.push('reason')</script>" * 3, "x" * 300]
    summary = Summary(tuple(rows), 9999, 321, 12345.6)
    paths = write_summary(summary, folder, [*reasons, reasons[0]], PLAN)
    return paths[0].read_text(encoding="utf-8")


@pytest.mark.parametrize("width", [1280, 500])
def test_axe_finds_no_fault_on_the_summary_of_a_corpus(
    chromium: str, tmp_path: Path, axe: str, width: int
) -> None:
    page = corpus_page(tmp_path)
    assert axe_faults(chromium, tmp_path, axe, page, width) == []
    page = page.replace("<body>", "<body>" + WATCH).replace("</body>", TELL + "</body>")
    assert probed(drive(chromium, tmp_path, page, "--dump-dom"))["faults"] == []


@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_sticks_out_of_the_summary_of_a_corpus(
    chromium: str, tmp_path: Path, width: int
) -> None:
    check_nothing_sticks_out(chromium, tmp_path, corpus_page(tmp_path), width)


def axe_faults(chromium: str, folder: Path, axe: str, page: str, width: int) -> object:
    """Return what axe-core finds wrong with a page."""
    script = "<script>" + axe.replace("</script", "<\\/script") + "</script>"
    page = page.replace("</body>", script + RUN_AXE + "</body>")
    told = drive(
        chromium,
        folder,
        page,
        "--dump-dom",
        "--virtual-time-budget=20000",
        f"--window-size={width},900",
    )
    return probed(told)
