"""The review page: complete, self-contained, escaped, and honest about what it cannot say."""

from __future__ import annotations

import dataclasses
import re
from datetime import datetime
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from invented_review import PLAN, InventedReview, invented_review, many_events

import infantmon as im
from infantmon.errors import ArgumentError
from infantmon.model.channel import Channel
from infantmon.model.event import NOT_ASSESSABLE, Event, Evidence
from infantmon.model.prescription import Prescription
from infantmon.model.recording import Recording
from infantmon.model.spans import Reason, Spans
from infantmon.report.cautions import BLIND_SPOT, CAUTIONS
from infantmon.report.extremes import extremes_of
from infantmon.report.page import review_page, who_set_text, write_review_page
from infantmon.report.summary import extreme_of, kind_summaries
from infantmon.report.timeline import timelines_of
from infantmon.report.words import share_text

VOID = {"meta", "link", "br", "input"}


class Outline(HTMLParser):
    """Gathers what the tests ask about, and checks that every tag is closed."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.said: list[str] = []
        self.feed(page)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("style", "script"):
            self.said.append(data)

    def values(self, name: str) -> list[str]:
        return [value for _, attrs in self.tags if (value := attrs.get(name)) is not None]

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.said).split())


@pytest.fixture(scope="module")
def review() -> InventedReview:
    return invented_review(started_at=datetime(2031, 3, 1, 22, 15))  # noqa: DTZ001 - local time


@pytest.fixture(scope="module")
def page(review: InventedReview) -> str:
    return review_page(review)


def quiet_review(**changes: object) -> InventedReview:
    """Return a review in which nothing was found."""
    return dataclasses.replace(invented_review(), events=(), excursions=(), changes=(), **changes)


def test_page_asks_nothing_from_elsewhere(page: str) -> None:
    outline = Outline(page)
    assert "http:" not in page
    assert "https:" not in page
    assert outline.values("src") == []
    assert all(link.startswith(("#", "data:,")) for link in outline.values("href"))
    assert not re.search(r"@import|url\((?!#)", page)
    assert "default-src 'none'" in page


def test_cautions_stand_at_the_top_and_in_print(page: str) -> None:
    text = Outline(page).text
    for caution in CAUTIONS:
        assert caution in text
        assert text.index(caution) < text.index("Events by kind", text.index("Read this first"))
    assert "@bottom-left" in page  # the margin of every printed page


def test_a_browser_that_darkens_pages_leaves_this_one_alone(page: str) -> None:
    """Darkened, the labels of the drawings were dark on dark."""
    assert ":root { color-scheme: only light;" in page


def test_every_event_has_a_row_and_a_strip(review: InventedReview, page: str) -> None:
    numbers = [str(event.number) for event in review.events]
    outline = Outline(page)
    rows = [a["data-event"] for tag, a in outline.tags if tag == "tr" and "data-event" in a]
    strips = [a["id"] for tag, a in outline.tags if tag == "article"]
    assert rows == numbers
    assert sorted(strips) == sorted(f"event-{number}" for number in numbers)
    for event in review.events:
        for reason in event.reasons:
            assert reason.text in outline.text


def test_links_inside_the_page_lead_somewhere(page: str) -> None:
    outline = Outline(page)
    ids = outline.values("id")
    assert len(ids) == len(set(ids))
    assert {link[1:] for link in outline.values("href") if link.startswith("#")} <= set(ids)
    assert set(outline.values("aria-labelledby")) <= set(ids)


def test_supported_events_and_the_furthest_beyond_come_first(page: str) -> None:
    strips = [a["data-event"] for tag, a in Outline(page).tags if tag == "article"]
    # supported: 80 over 60.7 a minute, 24 over 20 s; doubtful: 31 over 20 s, 30 s; then technical
    assert strips == ["2", "1", "3", "5", "4"]


def test_no_number_of_the_drawing_is_missing_or_infinite(page: str) -> None:
    outline = Outline(page)
    for name in ("d", "x", "y", "width", "height", "transform", "viewBox"):
        for value in outline.values(name):
            assert not re.search(r"nan|inf|None", value)
    assert all(float(width) >= 0 for width in outline.values("width"))


def test_signals_that_are_not_finite_leave_holes_and_no_faults() -> None:
    review = invented_review()
    for channel in review.recording.channels.values():
        channel.segments[0].values[1000:2000] = np.inf
        channel.segments[0].values[70000:] = np.nan
    outline = Outline(review_page(review))
    assert not any(re.search(r"nan|inf", value) for value in outline.values("d"))


def test_hostile_text_from_the_recording_is_shown_as_text() -> None:
    hostile = '<script>alert("x")</script><img src=x>'
    review = invented_review(ecg_name=hostile)
    recording = dataclasses.replace(review.recording, name=hostile, notes=(hostile,))
    reasons = (Evidence(hostile, "for"),)
    event = dataclasses.replace(review.events[0], kind=hostile, reasons=reasons)
    plan = Prescription(apnea={"limit_s": 20}, prescriber={"name": hostile, "note": hostile})
    review = dataclasses.replace(review, recording=recording, events=(event,), plan=plan)
    outline = Outline(review_page(review))
    assert [tag for tag, _ in outline.tags].count("script") == 1
    assert "img" not in [tag for tag, _ in outline.tags]
    assert outline.text.count(hostile) >= 6


def test_none_found_stands_with_usable_hours_and_the_blind_spot() -> None:
    text = Outline(review_page(quiet_review())).text
    assert f"none found in 0.47 h of usable chest impedance; {BLIND_SPOT}" in text
    assert "none found in 0.47 h of usable ECG" in text
    assert "No event, so no strip." in text


def test_what_is_not_watched_is_said() -> None:
    plan = Prescription(apnea={"limit_s": 20})
    text = Outline(review_page(quiet_review(plan=plan))).text
    assert (
        "low heart rate, high heart rate, no heart beat, periodic breathing, contact loss" in text
    )
    assert text.count("not watched") >= 6


def test_nothing_watched_is_said_too() -> None:
    text = Outline(review_page(quiet_review(plan=Prescription()))).text
    assert "nothing is watched" in text
    assert "Who set the limits is not given." in text


@pytest.mark.parametrize(
    ("roles", "said"),
    [
        (("impedance",), "could not be looked for: ECG was not recorded"),
        (("ecg",), "could not be looked for: chest impedance was not recorded"),
    ],
)
def test_a_channel_that_is_missing_is_shown_as_not_recorded(
    roles: tuple[str, ...], said: str
) -> None:
    review = invented_review(roles=roles, keep_cleaned="impedance" in roles)
    text = Outline(review_page(review)).text
    assert "not recorded" in text
    quiet = dataclasses.replace(review, events=())
    assert said in Outline(review_page(quiet)).text


def test_empty_review_of_a_few_samples_works() -> None:
    recording = Recording({"ecg": Channel([0.0, 1.0], rate_hz=250.0)})
    review = InventedReview(recording, recorded_s=0.008, missing_roles=("impedance",))
    assert "Review of a recording" in Outline(review_page(review)).text


def test_second_lead_and_hole_are_drawn() -> None:
    review = invented_review()
    ecg = review.recording.channels["ecg"]
    values = ecg.segments[0].values
    holed = Channel.joined([(0.0, values[:76000]), (310.0, values[77500:])], 250.0, None, "two")
    channels = {**review.recording.channels, "ecg2": holed}
    recording = dataclasses.replace(review.recording, channels=channels)
    spans = Spans(np.array([304.0]), np.array([310.0]), np.array([int(Reason.MISSING)]))
    contact = {**review.contact, "ecg2": spans}
    text = Outline(
        review_page(dataclasses.replace(review, recording=recording, contact=contact))
    ).text
    assert "second lead" in text
    assert "unit not known" in text
    assert "second ECG lead 0:05:04.0 to 0:05:10.0: nothing recorded" in text


def test_stretches_used_with_care_are_not_counted_as_lost(page: str) -> None:
    text = Outline(page).text
    assert "used with care: movement: 12.0 s in 1 stretch" in text
    assert "base impedance out of range: 1 min 30 s in 1 stretch used with care" in text


def test_long_event_is_shown_in_two_parts_with_the_break_said(page: str) -> None:
    assert "50.0 s left out" in Outline(page).text  # 90 s long, its first 25 and last 15 s shown


def test_page_says_who_set_the_limits(page: str) -> None:
    assert "Limits set by Dr. Invented. Note: made up for a test." in Outline(page).text
    assert who_set_text(Prescription(prescriber={"note": "told by phone"})) == (
        "Limits set by a prescriber whose name is not given. Note: told by phone."
    )


def test_without_script_all_is_shown_and_no_dead_control(page: str) -> None:
    outline = Outline(page)
    controls = [attrs for tag, attrs in outline.tags if attrs.get("class") == "controls"]
    assert len(controls) == 2
    assert all("hidden" in attrs for attrs in controls)
    assert "button" not in [tag for tag, _ in outline.tags]
    assert not [attrs for _, attrs in outline.tags if "data-hidden" in attrs]


def test_title_can_be_given(review: InventedReview) -> None:
    assert "<h1>A &amp; B</h1>" in review_page(review, title="A & B")


def test_days_are_drawn_apart() -> None:
    review = quiet_review(recorded_s=2.5 * 86400.0)
    text = Outline(review_page(review)).text
    assert "Day 3 of 3" in text
    assert "Day 4" not in text


def test_link_is_shown_on_both_events(review: InventedReview) -> None:
    """Only the apnea names the heart-rate event; a reader may come from either."""
    alone = dataclasses.replace(review.events[1], linked=())
    events = (review.events[0], alone, *review.events[2:])
    text = Outline(review_page(dataclasses.replace(review, events=events))).text
    assert "linked with event 3" in text
    assert "linked with event 2" in text
    assert "linked event 3: apnea, 31.0 s" in text  # a bar on the strip of the heart-rate event


def test_page_of_500_events_stays_under_10_megabytes(review: InventedReview) -> None:
    page = review_page(many_events(review, 500))
    assert page.count("<article") == 500
    assert len(page.encode()) < 10_000_000


def test_noise_does_not_make_the_page_grow_without_bound() -> None:
    """White noise is the worst case: no point can be left out."""
    chance = np.random.default_rng(7)
    noisy = invented_review()
    for channel in noisy.recording.channels.values():
        values = channel.segments[0].values
        values[:] = chance.standard_normal(len(values))
    assert noisy.cleaned is not None
    noisy.cleaned.values[:] = chance.standard_normal(len(noisy.cleaned))
    assert len(review_page(many_events(noisy, 500)).encode()) < 10_000_000


def test_page_is_written_whole_or_not_at_all(review: InventedReview, tmp_path: Path) -> None:
    target = tmp_path / "page.html"
    target.write_text("before")
    broken = dataclasses.replace(review, events=(*review.events, None))
    with pytest.raises(AttributeError):
        write_review_page(broken, target)
    assert target.read_text() == "before"
    write_review_page(review, target)
    assert target.read_text(encoding="utf-8").endswith("</html>")
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]


def test_missing_folder_is_an_error(review: InventedReview, tmp_path: Path) -> None:
    with pytest.raises(ArgumentError, match=r"folder .*nowhere does not exist"):
        write_review_page(review, tmp_path / "nowhere" / "page.html")


def test_event_outside_every_signal_is_drawn_all_the_same() -> None:
    review = invented_review()
    late = Event(9, "apnea", 1799.5, 1799.9, judgement=NOT_ASSESSABLE)
    text = Outline(review_page(dataclasses.replace(review, events=(late,)))).text
    assert "Event 9: apnea, still open" in text
    assert "judgement not final" in text


def test_the_longest_event_is_a_supported_one_or_says_that_it_is_not():
    review = invented_review()
    apnea = next(row for row in kind_summaries(review) if row.kind == "apnea")
    assert apnea.longest == "24.0 s (31.0 s doubtful)"
    (slow,) = (event for event in review.events if event.kind == "low heart rate")
    unsure = dataclasses.replace(slow, judgement=NOT_ASSESSABLE, lowest_bpm=12.0)
    assert extreme_of([slow]) == "lowest 61/min"
    assert extreme_of([slow, unsure]) == "lowest 61/min (12/min not assessable)"
    assert extreme_of([unsure]) == "lowest 12/min not assessable"
    assert extreme_of([slow, dataclasses.replace(unsure, lowest_bpm=70.0)]) == "lowest 61/min"


def test_where_nothing_could_be_used_nothing_is_said_to_be_absent() -> None:
    lost = {role: im.Channel(np.full(6000, 1.0), 100.0) for role in ("ecg", "impedance")}
    text = Outline(review_page(im.review(im.Recording(lost), PLAN))).text
    assert "could not be looked for: no ECG could be used" in text
    assert "could not be looked for: no chest impedance could be used" in text
    assert "none found in 0" not in text
    assert "0.0 % of the ECG usable · 0.0 % of the chest impedance usable" in text
    breathing = timelines_of(im.review(im.Recording(lost), PLAN))[0].graphs[1]
    assert [float(tick.text) >= 0.0 for tick in breathing.ticks] == [True] * len(breathing.ticks)


def test_breaths_of_a_recording_below_a_minute_count_by_its_own_length() -> None:
    time_s = np.arange(1500) / 50.0
    swings = im.Channel(np.sin(2.0 * np.pi * 0.7 * time_s), 50.0)  # 42 breaths a minute for 30 s
    (rate, _) = extremes_of(im.review(im.Recording({"impedance": swings}), PLAN))
    assert rate.words == "breaths in each minute"
    assert float(rate.middle) == pytest.approx(42.0, abs=2.0)


def test_the_share_of_events_is_one_of_the_usable_time(review: InventedReview) -> None:
    """An event that spans unusable time took up more than all of the usable time."""
    spans = Spans(np.array([100.0]), np.array([1700.0]), np.array([int(Reason.FLAT)]))
    event = Event(1, "apnea", 90.0, 110.0, 1720.0, 1725.0, NOT_ASSESSABLE)
    usable_s = review.recorded_s - 1600.0
    lost = dataclasses.replace(
        review,
        events=(event,),
        contact={"impedance": spans},
        usable_s={"impedance": usable_s},
    )
    (apnea,) = [one for one in kind_summaries(lost) if one.kind == "apnea"]
    assert apnea.share == share_text(30.0, usable_s)
