"""A reader's decisions on the review page, made with the keyboard and saved by the page."""

from __future__ import annotations

import json
import unicodedata
from pathlib import Path

import pytest
from driven_page import DrivenPage
from pypdf import PdfReader
from recorded_review import recorded_review

import infantmon as im
from infantmon.recorded.decisions import Decisions
from infantmon.recorded.event import recorded_events
from infantmon.report.page import review_page
from infantmon.simulate import demo_scenario, simulate_night

pytestmark = pytest.mark.browser


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
