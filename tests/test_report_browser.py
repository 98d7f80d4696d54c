"""The pages in a real browser: no script error, sorting and filtering work, they print."""

from __future__ import annotations

import contextlib
import dataclasses
import html
import json
import math
import os
import re
import shutil
import subprocess
import sys
import tempfile
import unicodedata
from datetime import UTC, datetime
from pathlib import Path

import pytest
from driven_page import DrivenPage
from invented_review import PLAN, InventedReview, invented_review, many_events
from pypdf import PdfReader
from recorded_review import listed_in, recorded_review

import infantmon as im
from infantmon.corpus.summary import Summary, write_summary
from infantmon.downloads.download import download_of
from infantmon.downloads.page import downloads_html
from infantmon.downloads.summary import summarise_downloads
from infantmon.recorded.decisions import Decisions
from infantmon.recorded.event import recorded_events
from infantmon.report.excerpts_page import Excerpts, excerpts_page
from infantmon.report.page import review_page
from infantmon.reviewing import variations
from infantmon.simulate import demo_scenario, simulate_night

AXE = "axe-core@4.14.1"
"""Accessibility rules as a script, from the npm registry."""

pytestmark = pytest.mark.browser

PROBE = """
<script>
(function () {
  const out = [];
  window.addEventListener("error", function (fault) { out.push("error " + fault.message); });
  const heads = Array.from(document.querySelectorAll("#event-table thead th"));
  const rows = () => Array.from(document.querySelectorAll("#event-table tbody tr"));
  const numbers = () => rows().map(row => row.dataset.event).join(" ");
  const press = name => heads.find(h => h.textContent === name).querySelector("button").click();
  press("length"); out.push("by length " + numbers());
  press("length"); out.push("by length turned " + numbers());
  press("kind"); out.push("by kind " + numbers());
  press("event"); out.push("by event " + numbers());
  out.push("sorted column " + heads.filter(h => h.hasAttribute("aria-sort")).length);
  const apnea = document.querySelector("input[value=apnea]");
  apnea.click();
  const shown = list => list.filter(item => item.offsetParent !== null).length;
  const strips = () => Array.from(document.querySelectorAll("article"));
  out.push("without apnea " + shown(rows()) + " " + shown(strips()));
  out.push("count " + document.getElementById("count").textContent);
  apnea.click();
  document.querySelector("input[value=onset]").click();
  out.push("in time order " + strips().map(strip => strip.dataset.event).join(" "));
  const wide = document.documentElement.scrollWidth > document.documentElement.clientWidth;
  out.push("page wider than the screen " + wide);
  const note = document.createElement("pre");
  note.id = "probe"; note.textContent = out.join("\\n"); document.body.append(note);
})();
</script>
"""


WATCH = """
<script>
window.faults = [];
window.addEventListener("error", fault => window.faults.push("error: " + fault.message));
window.addEventListener("securitypolicyviolation",
  fault => window.faults.push("asked for " + fault.blockedURI));
console.error = (...words) => window.faults.push("console: " + words.join(" "));
</script>
"""
"""Put first into the page: what went wrong, and what was asked of elsewhere and refused."""

TELL = """
<script>
window.addEventListener("load", function () {
  const asked = performance.getEntriesByType("resource").map(entry => "asked for " + entry.name);
  const note = document.createElement("pre");
  note.id = "probe";
  note.textContent = JSON.stringify({
    faults: window.faults.concat(asked),
    rows: Array.from(document.querySelectorAll("#event-table tbody tr")).map(r => r.dataset.event),
    strips: Array.from(document.querySelectorAll("#strip-list article")).map(a => a.dataset.event),
    listed: Array.from(document.querySelectorAll("#recorded-strips article"))
      .map(a => a.dataset.row),
    forms: document.querySelectorAll("article .decide").length,
    milliseconds: Math.round(performance.now()),
  });
  document.body.append(note);
});
</script>
"""

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


def missing(what: str) -> None:
    """Skip, or fail where every test is asked for."""
    if os.environ.get("INFANTMON_REQUIRE_ALL") == "1":
        pytest.fail(f"{what}, and INFANTMON_REQUIRE_ALL=1 asks for all tests")
    pytest.skip(what)


@pytest.fixture(scope="module")
def chromium() -> str:
    for name in ("chromium", "chromium-browser", "google-chrome", "chrome"):
        if found := shutil.which(name):
            return found
    missing("no headless Chromium found (chromium on the path)")
    raise AssertionError


@pytest.fixture(scope="session")
def axe() -> str:
    """The text of axe-core, kept in the environment once it has been fetched."""
    folder = Path(sys.prefix) / "axe-core"
    script = folder / "node_modules" / "axe-core" / "axe.min.js"
    if not script.is_file():
        npm = shutil.which("npm")
        if npm is None:
            missing("no npm found, from which axe-core comes")
        half = tempfile.mkdtemp(prefix="axe-core", dir=sys.prefix)
        told = subprocess.run(
            [str(npm), "install", "--no-save", "--no-audit", "--prefix", half, AXE],
            capture_output=True,
            text=True,
            timeout=100,
            check=False,
        )
        if told.returncode != 0:
            missing(f"axe-core could not be fetched: {told.stderr[-300:]}")
        with contextlib.suppress(OSError):  # another worker may have been first
            Path(half).rename(folder)
    return script.read_text(encoding="utf-8")


def full_review() -> InventedReview:
    """Return a review with everything that the page can show: recorded events and decisions too."""
    return recorded_review(ecg_name="<script>window.faults.push('taken')</script>")


def probed(page: str) -> object:
    """Return what a probe wrote at the end of a page."""
    found = re.search(r'<pre id="probe">(.*?)</pre>', page, re.DOTALL)
    assert found is not None, "the page's script did not get to its end"
    text = found.group(1)
    for sign, letter in (("&lt;", "<"), ("&gt;", ">"), ("&quot;", '"'), ("&amp;", "&")):
        text = text.replace(sign, letter)
    return json.loads(text)


def what_if() -> list[tuple[object, object]]:
    return [(plan, invented_review().events) for plan in variations(PLAN, "apnea.limit_s", [15])]


def drive(chromium: str, folder: Path, page: str, *options: str) -> str:
    (folder / "page.html").write_text(page, encoding="utf-8")
    run = subprocess.run(
        [
            chromium,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            f"--user-data-dir={folder / 'profile'}",
            *options,
            (folder / "page.html").as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=100,
        check=True,
    )
    return run.stdout


@pytest.mark.parametrize("width", [1440, 390])
def test_sorting_filtering_and_order_work(chromium: str, tmp_path: Path, width: int) -> None:
    page = review_page(invented_review()).replace("</body>", PROBE + "</body>")
    dumped = drive(chromium, tmp_path, page, "--dump-dom", f"--window-size={width},900")
    found = re.search(r'<pre id="probe">(.*?)</pre>', dumped, re.DOTALL)
    assert found is not None
    assert found.group(1).splitlines() == [
        "by length 2 1 5 3 4",
        "by length turned 4 3 5 1 2",
        "by kind 1 3 5 4 2",
        "by event 1 2 3 4 5",
        "sorted column 1",
        "without apnea 2 2",
        "count 2 of 5 events shown",
        "in time order 1 3 2 4 5",
        "page wider than the screen false",
    ]


@pytest.mark.parametrize("width", [1440, 800, 390])
def test_nothing_sticks_out_of_a_screen(chromium: str, tmp_path: Path, width: int) -> None:
    """In a frame, which may be narrower than the least window of a browser."""
    check_nothing_sticks_out(
        chromium, tmp_path, review_page(full_review(), what_if=what_if()), width
    )


def check_nothing_sticks_out(chromium: str, tmp_path: Path, page: str, width: int) -> None:
    page = html.escape(page, quote=True)
    frame = f"""<!DOCTYPE html><body><iframe style="border:0;width:{width}px;height:900px"
      srcdoc="{page}"></iframe><script>
      window.addEventListener("load", function () {{
        const seen = document.querySelector("iframe").contentDocument;
        const note = document.createElement("pre");
        note.id = "probe";
        const root = seen.documentElement;
        const out = Array.from(seen.querySelectorAll("h1, h2, h3, p, li, label, td, th, dd"))
          .filter(e => !e.closest(".scroll, .skip, thead") && e.offsetParent !== null)
          .filter(e => e.getBoundingClientRect().right > root.clientWidth + 1);
        note.textContent = JSON.stringify([root.clientWidth, root.scrollWidth,
          out.map(e => e.textContent.slice(0, 40))]);
        document.body.append(note);
      }});</script></body>"""
    seen, needed, out = probed(drive(chromium, tmp_path, frame, "--dump-dom"))
    assert width - 20 <= seen <= width  # a scroll bar takes some
    assert needed <= seen
    assert out == []


def test_page_is_ready_and_hostile_name_stays_text(chromium: str, tmp_path: Path) -> None:
    hostile = "<script>document.title='taken'</script>"
    page = review_page(invented_review(ecg_name=hostile))
    dumped = drive(chromium, tmp_path, page, "--dump-dom")
    assert 'data-ready="true"' in dumped
    assert "<title>Review of invented infant</title>" in dumped
    assert "&lt;script&gt;document.title" in dumped


def test_page_prints(chromium: str, tmp_path: Path) -> None:
    target = tmp_path / "page.pdf"
    drive(chromium, tmp_path, review_page(invented_review()), f"--print-to-pdf={target}")
    written = target.read_bytes()
    assert written.startswith(b"%PDF")
    assert 4 <= len(PdfReader(target).pages) <= 7  # five strips, two a page, after the tables


def test_no_strip_is_cut_in_two_in_print(chromium: str, tmp_path: Path) -> None:
    """Heads, time scales and rules of strips: each page has as many of each."""
    review = many_events(invented_review(), 23)
    target = tmp_path / "page.pdf"
    drive(chromium, tmp_path, review_page(review), f"--print-to-pdf={target}")
    texts = [" ".join(page.extract_text().split()) for page in PdfReader(target).pages]
    counts = [
        (
            len(re.findall(r"Event \d+: ", text)),
            len(re.findall(r"time, s\b", text)),
            text.count("rule and limit"),
        )
        for text in texts
    ]
    assert all(heads == scales == rules for heads, scales, rules in counts), counts
    assert sum(heads for heads, _, _ in counts) == 23


def test_no_strip_of_a_recorded_event_is_cut_in_two_in_print(chromium: str, tmp_path: Path) -> None:
    target = tmp_path / "page.pdf"
    drive(chromium, tmp_path, review_page(recorded_review()), f"--print-to-pdf={target}")
    texts = [" ".join(page.extract_text().split()) for page in PdfReader(target).pages]
    heads = [len(re.findall(r"(?:Event|Row) \d+: (?:recorded as )?", text)) for text in texts]
    ends = [
        len(re.findall(r"time, s\b", text)) + text.count("No strip: no signals") for text in texts
    ]
    assert heads == ends
    assert sum(heads) == 5 + 7


def test_no_script_error_no_request_all_events(chromium: str, tmp_path: Path) -> None:
    review = full_review()
    page = review_page(review, what_if=what_if())
    page = page.replace("<body>", "<body>" + WATCH).replace("</body>", TELL + "</body>")
    found = probed(drive(chromium, tmp_path, page, "--dump-dom"))
    assert found["faults"] == []
    assert found["rows"] == [str(event.number) for event in review.events]
    assert sorted(found["strips"]) == found["rows"]
    assert found["listed"] == [str(one.recorded.row) for one in review.recorded.judged]
    assert found["forms"] == len(found["rows"]) + len(found["listed"])


def test_the_watch_sees_errors_and_requests(chromium: str, tmp_path: Path) -> None:
    """What the test above rests on: a page that does wrong is found out."""
    wrong = "<img src='https://invented.invalid/x.png'><script>nowhere()</script>"
    page = review_page(invented_review())
    page = page.replace("<body>", "<body>" + WATCH + wrong).replace("</body>", TELL + "</body>")
    faults = probed(drive(chromium, tmp_path, page, "--dump-dom"))["faults"]
    assert any("nowhere is not defined" in fault for fault in faults)
    assert any("asked for https://invented.invalid" in fault for fault in faults)


def test_500_events_open_fast(chromium: str, tmp_path: Path) -> None:
    page = review_page(many_events(invented_review(), 500))
    assert len(page.encode()) < 10_000_000
    page = page.replace("<body>", "<body>" + WATCH).replace("</body>", TELL + "</body>")
    found = probed(drive(chromium, tmp_path, page, "--dump-dom"))
    assert found["faults"] == []
    assert len(found["rows"]) == len(set(found["strips"])) == 500
    assert found["milliseconds"] < 20_000  # 1.5 s when measured; the machine may be busy


def test_500_recorded_and_500_found_events_open_fast(chromium: str, tmp_path: Path) -> None:
    found = many_events(invented_review(), 500)
    rows = [(e.onset_s - 0.5, e.end_s + 0.5, e.kind, "", False) for e in found.events]
    page = review_page(listed_in(found, recorded_events(rows)))
    assert len(page.encode()) < 10_000_000
    page = page.replace("<body>", "<body>" + WATCH).replace("</body>", TELL + "</body>")
    told = probed(drive(chromium, tmp_path, page, "--dump-dom"))
    assert told["faults"] == []
    assert (len(set(told["strips"])), len(set(told["listed"])), told["forms"]) == (500, 500, 1000)
    assert page.count("Drawn with the recorded event in row") == 500
    assert told["milliseconds"] < 30_000


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


def test_decisions_made_with_the_keyboard_are_saved_read_and_shown(
    chromium: str, tmp_path: Path
) -> None:
    """Filled in without a mouse, saved by the page, read by the library, shown in a new report."""
    night = simulate_night(demo_scenario(), seed=1).recording
    listed = recorded_events(
        [(480.1, 503.3, "apnea", "night 1", False), (5, 20, "apnea", "", False)]
    )
    review = im.review(night, im.Prescription(apnea={"limit_s": 20}), recorded=listed)
    review.to_html(tmp_path / "page.html", identity=True)
    by, note = 'Dr "A" <b>', "steady before;\nno effort ü"
    with DrivenPage(chromium, tmp_path / "page.html", tmp_path) as page:
        page.run("document.getElementById('row-1').focus()")
        page.tab_to("#row-1 select", 9)
        page.press("m")
        page.press("Tab")
        page.write(by)
        page.press("Tab")
        page.write(note)
        page.run(f"document.getElementById('event-{review.events[0].number}').focus()")
        page.tab_to("article select", 9)
        page.press("r")  # whoever decided before is filled in
        page.tab_to("#save-bar button", 200)
        page.press("Enter")
        saved = page.downloaded()
        assert page.run("document.querySelector('#save-bar [role=status]').textContent") == (
            "2 decisions given to be saved as decisions.json."
        )
        printed = PdfReader(page.print_to(tmp_path / "filled.pdf"))
        text = " ".join(" ".join(one.extract_text() for one in printed.pages).split())
        text = unicodedata.normalize("NFKC", text)  # letters may be joined in print
    plain = json.loads(saved.read_text(encoding="utf-8"))
    assert list(plain) == ["format", "decisions"]
    made = Decisions.read(saved)
    of_row, of_event = made.of(listed[0]), made.of(review.events[0])
    assert [(d.decision, d.by, d.note) for d in of_row] == [("misdetected", by, note)]
    assert [(d.decision, d.by, d.note) for d in of_event] == [("real", by, "")]
    assert len(made) == 2
    assert all(one.decided_at_utc.endswith("Z") for one in made)
    made.write(tmp_path / "again.json")
    assert Decisions.read(tmp_path / "again.json") == made
    assert f"Decided on this page: misdetected, by {by}; note: steady before; no effort" in text
    assert "Your decision on" not in text
    shown = im.review(night, review.plan, recorded=listed, decisions=made)
    again = review_page(shown)
    assert again.count("misdetected, by Dr &#34;A&#34; &lt;b&gt; on 2") == 1
    assert again.count("real, by Dr &#34;A&#34; &lt;b&gt; on 2") == 1
    assert [one.judgement for one in shown.recorded.judged] == [
        one.judgement for one in review.recorded.judged
    ]


def test_half_a_decision_is_not_saved_but_told(chromium: str, tmp_path: Path) -> None:
    (tmp_path / "page.html").write_text(review_page(recorded_review()), encoding="utf-8")
    status = "document.querySelector('#save-bar [role=status]').textContent"
    click = "document.querySelector('#save-bar button').click()"
    with DrivenPage(chromium, tmp_path / "page.html", tmp_path) as page:
        page.run(click)
        assert page.run(status) == "No decision on this page yet."
        page.run("document.querySelector('#row-2 select').focus()")
        page.press("a")
        assert page.run(status) == "1 decision, not saved yet."
        page.run(click)
        assert page.run(status) == "Not saved: recorded event in row 2 lacks by whom."
        assert page.run("document.activeElement === document.querySelector('#row-2 [name=by]')")
        page.write("A. B.")
        page.run("document.querySelector('#event-1 textarea').focus()")
        page.write("looks odd")
        page.run(click)
        assert page.run(status) == "Not saved: event 1 lacks a decision."
        assert not list(page.downloads.iterdir())
        page.press("Tab")
        page.run("document.querySelector('#event-1 textarea').focus()")
        for _ in "looks odd":
            page.press("Backspace")
        page.run(click)
        saved = page.downloaded()
    (made,) = Decisions.read(saved)
    assert (made.decision, made.by, made.onset_s) == ("artefact", "A. B.", 899.0)
