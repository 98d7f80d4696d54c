"""A page in a headless Chromium: what it holds once its scripts have run, and what went wrong."""

from __future__ import annotations

import html
import json
import re
import subprocess
from pathlib import Path

from invented_review import PLAN, InventedReview, invented_review
from recorded_review import recorded_review

from infantmon.reviewing import variations

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
          .filter(e => e.getBoundingClientRect().right > root.clientWidth + 1)
          .concat(Array.from(seen.querySelectorAll(".scroll:has(> .cards)"))
            .filter(e => e.scrollWidth > e.clientWidth + 1));
        note.textContent = JSON.stringify([root.clientWidth, root.scrollWidth,
          out.map(e => e.textContent.trim().replace(/\\s+/g, " ").slice(0, 60))]);
        document.body.append(note);
      }});</script></body>"""
    seen, needed, out = probed(drive(chromium, tmp_path, frame, "--dump-dom"))
    assert width - 20 <= seen <= width  # a scroll bar takes some
    assert needed <= seen
    assert not out, out
