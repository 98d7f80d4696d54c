"""What a notebook shows: small tables with a picture, drawings that stand alone, frames."""

from __future__ import annotations

import dataclasses
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from invented_review import invented_review, many_events

import infantmon as im
from infantmon.model.spans import Reason, Spans
from infantmon.report.drawing import Drawing, draw_day, draw_event
from infantmon.report.notebook import events_html, recording_html, review_html
from infantmon.simulate import demo_scenario, simulate_night


@pytest.fixture(scope="module")
def review():
    recording = simulate_night(demo_scenario(), seed=5).recording
    return im.review(recording, im.Prescription(apnea={"limit_s": 20}, contact_loss={"delay_s": 5}))


def parsed(text: str) -> ET.Element:
    """Return the parsed XML; what is not well formed raises."""
    return ET.fromstring(text)  # noqa: S314 - our own text


def test_every_event_and_every_day_can_be_drawn(review) -> None:
    for event in review.events:
        drawing = review.plot(event)
        assert parsed(drawing.svg).tag == "{http://www.w3.org/2000/svg}svg"
        assert drawing == review.plot(event.number)
        assert drawing._repr_svg_() == drawing.svg
        assert repr(drawing) == f"Drawing(event {event.number}: {event.kind}, {event.judgement})"
    assert "apnea limit 20 s" in review.plot_night().svg


def test_a_drawing_stands_alone(review) -> None:
    svg = review.plot(review.events[0]).svg
    used = {part.split(")")[0] for part in svg.split("url(#")[1:]}
    assert used == {"infantmon-hatch", "infantmon-dots", "infantmon-doubt"}
    assert all(f'id="{name}"' in svg for name in used)
    assert svg.count("http") == 1  # the name of the SVG language, which nothing fetches


def test_what_is_not_there_cannot_be_drawn(review) -> None:
    with pytest.raises(im.ArgumentError, match=r"event 99 is not in this review; it has \d+ event"):
        review.plot(99)
    for day in (0, 2, True, 1.0):
        with pytest.raises(im.ArgumentError, match="this recording has the days 1 to 1"):
            review.plot_night(day)


def test_drawings_are_saved_as_svg_only(review, tmp_path) -> None:
    drawing = review.plot_night()
    drawing.save(tmp_path / "night.svg")
    assert (tmp_path / "night.svg").read_text(encoding="utf-8") == drawing.svg
    with pytest.raises(im.ArgumentError, match=r"saved as \.svg only"):
        drawing.save(tmp_path / "night.png")


def test_recording_review_and_events_show_a_table_and_a_picture(review) -> None:
    for shown in (review, review.recording, review.events):
        html = shown._repr_html_()
        assert html.count("<table>") == 1
        assert html.count("</svg>") == 1
        assert parsed(html).tag == "div"
    assert "not watched" in review._repr_html_().lower()
    assert "not a medical device" in review._repr_html_()


def test_hostile_names_are_shown_as_text() -> None:
    hostile = "<script>alert(1)</script>"
    made = invented_review(ecg_name=hostile)
    recording = dataclasses.replace(made.recording, name=hostile, notes=(hostile,))
    event = dataclasses.replace(made.events[0], kind=hostile)
    made = dataclasses.replace(made, recording=recording, events=(event,))
    for html in (
        recording_html(recording),
        events_html(made.events),
        review_html(made),
        draw_event(made, 1).svg,
        draw_day(made, 1).svg,
    ):
        assert "<script" not in html
        assert parsed(html) is not None


def test_an_empty_list_claims_nothing() -> None:
    html = im.EventLog()._repr_html_()
    assert "says nothing about what was watched" in html
    assert "<svg" not in html


def test_a_long_list_is_cut_and_says_so() -> None:
    html = events_html(many_events(invented_review(), 60).events)
    assert "40 more; to_frame() has them all." in html


def test_recording_glance_shows_holes_and_survives_what_is_not_finite() -> None:
    values = np.full(5000, np.nan)
    values[:1000] = np.sin(np.arange(1000) / 9.0)
    recording = im.Recording({"ecg": im.Channel(values, rate_hz=250.0)})
    svg = recording._repr_html_()
    assert "unit not known" in svg
    assert "nan" not in svg
    short = im.Recording({"impedance": im.Channel([1.0], rate_hz=50.0, unit="ohm")})
    assert parsed(short._repr_html_()) is not None


def test_drawing_is_plain_data() -> None:
    assert Drawing("<svg/>", "nothing") == Drawing("<svg/>", "nothing")


def test_frames(review) -> None:
    spans = Spans(np.array([1.0]), np.array([2.5]), np.array([int(Reason.FLAT | Reason.STEP)]))
    assert spans.to_frame().to_dict("list") == {
        "start_s": [1.0],
        "end_s": [2.5],
        "reason": ["flat signal, level jump"],
    }
    frame = im.Channel([4.0, 5.0, 6.0], rate_hz=2.0, start_s=1.0).to_frame(1.5)
    assert frame.to_dict("list") == {"time_s": [1.5, 2.0], "value": [5.0, 6.0]}
    assert list(review.events.to_frame()["kind"]) == [event.kind for event in review.events]
    assert len(review.breaths.to_frame()) == len(review.breaths)
    assert "<table" in spans._repr_html_()


def test_findings_and_spans_are_one_line_in_a_terminal(review) -> None:
    breaths, spans = review.breaths, review.spans("impedance")
    told = f"Breaths({len(breaths)} rows, {breaths.time_s[0]:.1f} to {breaths.time_s[-1]:.1f} s; "
    assert repr(breaths) == f"{told}{', '.join(breaths.columns())})"
    assert repr(breaths.rows(0, 0)).startswith("Breaths(0 rows; time_s, ")
    assert repr(spans) == f"Spans({len(spans)} of {spans.total_s:.1f} s together)"


def test_everything_a_notebook_meets_is_one_line_in_a_terminal(review) -> None:
    night = simulate_night(demo_scenario(), seed=5)
    monitor = im.Monitor(review.plan, ecg_hz=250.0, impedance_hz=62.5)
    assert repr(monitor) == "Monitor(ecg 250 Hz, impedance 62.5 Hz; nothing pushed yet)"
    monitor.push(ecg=np.zeros(500), impedance=np.zeros(125))
    event = review.events.of_kind("apnea")[0]
    assert repr(event) == (
        f"Event({event.number}: apnea at {event.onset_s:.1f} s, {event.length_s:.1f} s, "
        f"{event.judgement}, {len(event.reasons)} reasons)"
    )
    assert "still open" in repr(dataclasses.replace(event, end_s=None))
    assert repr(monitor) == "Monitor(ecg 250 Hz, impedance 62.5 Hz; at 2.0 s)"
    assert repr(night.truth).startswith(f"Truth(1800 s: {len(night.truth.beat_s)} beats, ")
    assert repr(review.findings).endswith("breaths; ecg, impedance)")
    for thing in (night, review, review.recording, review.events, review.decisions):
        assert "\n" not in repr(thing)
        assert len(repr(thing)) < 400


def test_columns_of_a_table_of_events_do_not_change_with_its_rows(review) -> None:
    """Tables of many nights are put together; one without events, or without heart rates, too."""
    events = review.events
    some, none = events.to_frame(), im.EventLog().to_frame()
    assert some["highest_bpm"].isna().all()
    assert none.dtypes.to_dict() == some.dtypes.to_dict()
    assert some.dtypes["highest_bpm"] == np.float64
    open_one = im.EventLog([dataclasses.replace(events[0], end_s=None, settled_s=None)])
    assert np.isnan(open_one.to_frame()["length_s"][0])
    assert str(some["onset_s"].dtype) == "float64"


def test_a_stretch_of_a_channel_may_be_open_but_not_nameless() -> None:
    channel = im.Channel([4.0, 5.0, 6.0], rate_hz=2.0, start_s=1.0)
    assert channel.between(1.5, np.inf)[1].tolist() == [5.0, 6.0]
    assert channel.between(-np.inf, np.float32(np.inf))[0].tolist() == [0.0, 0.5, 1.0, 1.5, 2.0]
    assert len(channel.between(np.inf, 3.0)[0]) == len(channel.between(9.0, 3.0)[0]) == 0
    for bad, said in (
        ("a", "start_s is 'a'; a number in s"),
        (np.nan, "start_s is nan s; a finite"),
    ):
        with pytest.raises(im.ArgumentError, match=said):
            channel.between(bad, 3.0)


def test_channels_stand_in_one_order_however_they_were_given() -> None:
    channels = {
        role: im.Channel(np.zeros(500), rate_hz=50.0) for role in ("impedance", "ecg2", "ecg")
    }
    recording = im.Recording(channels)
    assert list(recording.channels) == ["ecg", "ecg2", "impedance"]
    svg = recording._repr_html_()
    assert svg.index("second ECG lead") < svg.index("chest impedance")
