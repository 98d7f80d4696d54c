"""The review page in a real browser: no script error, sorting and filtering work, it prints."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pytest
from browser import TELL, WATCH, check_nothing_sticks_out, drive, full_review, probed, what_if
from invented_review import invented_review, many_events
from pypdf import PdfReader
from recorded_review import listed_in, recorded_review

from infantmon.model.event import NOT_ASSESSABLE, SUPPORTED
from infantmon.recorded.event import recorded_events
from infantmon.report.page import review_page

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


@pytest.mark.parametrize("width", [1440, 1000, 920, 800, 390])
def test_nothing_sticks_out_of_a_screen(chromium: str, tmp_path: Path, width: int) -> None:
    """In a frame, which may be narrower than the least window of a browser."""
    check_nothing_sticks_out(
        chromium, tmp_path, review_page(full_review(), what_if=what_if()), width
    )


@pytest.mark.parametrize("width", [1000, 920, 800])
def test_no_column_is_cut_off_by_what_is_said_of_the_longest_event(
    chromium: str, tmp_path: Path, width: int
) -> None:
    """The longest supported apnea, and a longer one that is not assessable, in one cell."""
    review = full_review()
    events = [
        dataclasses.replace(event, judgement=NOT_ASSESSABLE) if event.kind == "apnea" else event
        for event in review.events
    ]
    first = next(place for place, event in enumerate(events) if event.kind == "apnea")
    short = dataclasses.replace(events[first], end_s=events[first].onset_s + 20.5)
    events[first] = dataclasses.replace(short, judgement=SUPPORTED)
    page = review_page(dataclasses.replace(review, events=tuple(events)))
    assert re.search(r"20.5 s \(\d+.\d s not assessable\)", page)
    check_nothing_sticks_out(chromium, tmp_path, page, width)


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
            len(re.findall(r"h:min:s\b", text)),
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
        len(re.findall(r"h:min:s\b", text)) + text.count("No strip: no signals") for text in texts
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
