"""The review page in a real browser: no script error, sorting and filtering work, it prints."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from invented_review import invented_review

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


@pytest.fixture(scope="module")
def chromium() -> str:
    for name in ("chromium", "chromium-browser", "google-chrome", "chrome"):
        if found := shutil.which(name):
            return found
    if os.environ.get("INFANTMON_REQUIRE_ALL") == "1":
        pytest.fail("no headless Chromium found, and INFANTMON_REQUIRE_ALL=1 asks for all tests")
    pytest.skip("no headless Chromium found (chromium on the path)")


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
    pages = len(re.findall(rb"/Type\s*/Page\b", written))
    assert 4 <= pages <= 7  # five strips, two a page, after the tables and the timeline
