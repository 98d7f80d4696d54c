"""Geometry of the report: paths keep what stands out, scales are round, windows hold the event."""

from __future__ import annotations

import dataclasses
import re
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_review import invented_review

from infantmon.model.event import Change, Event
from infantmon.model.spans import Reason, Spans
from infantmon.report.alarm import AlarmTimes, alarm_times
from infantmon.report.drawing import draw_event
from infantmon.report.page import review_page
from infantmon.report.panel import outside, shades_of
from infantmon.report.scale import Scale, nice_step, range_of
from infantmon.report.strip import LEFT, RIGHT, strip_of
from infantmon.report.timeline import time_ticks
from infantmon.report.trace import GRID, envelope, path_of, thinned
from infantmon.report.trend import bin_edges, binned, breathing_rate, lost_before, pauses
from infantmon.report.window import Part, window_of


def points_of(path: str) -> list[list[tuple[float, float]]]:
    """Read a path back: runs of points in drawing units (a slow, plain reader)."""
    runs = []
    for run in re.findall(r"M[^M]+", path):
        start, _, steps = run[1:].partition("l")
        numbers = [int(n) for n in re.findall(r"-?\d+", steps)]
        x, y = (int(n) for n in re.findall(r"-?\d+", start.split("h")[0]))
        points = [(x / GRID, y / GRID)]
        for dx, dy in zip(numbers[::2], numbers[1::2], strict=True):
            x, y = x + dx, y + dy
            points.append((x / GRID, y / GRID))
        runs.append(points)
    return runs


def envelope_slowly(x: np.ndarray, y: np.ndarray) -> list[tuple[float, float]]:
    """Return smallest and largest of each column, one column after the other."""
    extremes = []
    for column in sorted({int(place) for place in np.floor(x)}):
        inside = y[np.floor(x) == column]
        extremes.append((float(inside.min()), float(inside.max())))
    return extremes


@given(st.integers(0, 2**32 - 1), st.integers(3, 4000))
def test_envelope_keeps_the_extremes_of_every_column(seed: int, count: int) -> None:
    chance = np.random.default_rng(seed)
    x = np.sort(chance.uniform(0.0, 60.0, count))
    y = np.round(chance.standard_normal(count), 1)  # equal values happen
    kept_x, kept_y = envelope(x, y)
    assert envelope_slowly(kept_x, kept_y) == envelope_slowly(x, y)
    assert len(kept_x) <= 2 * 61 + 2 or len(kept_x) == count


@given(st.integers(0, 2**32 - 1), st.floats(0.05, 3.0))
def test_thinned_line_stays_within_its_tolerance(seed: int, tolerance: float) -> None:
    chance = np.random.default_rng(seed)
    x = np.cumsum(chance.uniform(0.1, 2.0, 300))
    y = np.cumsum(chance.standard_normal(300))
    kept_x, kept_y = thinned(x, y, tolerance)
    assert np.max(np.abs(np.interp(x, kept_x, kept_y) - y)) <= tolerance + 1e-9
    assert {kept_x[0], kept_x[-1]} == {x[0], x[-1]}


def test_path_of_a_straight_line_has_two_points() -> None:
    x = np.linspace(0.0, 600.0, 5000)
    assert points_of(path_of(x, 2.0 + x / 10.0)) == [[(0.0, 2.0), (600.0, 62.0)]]


def test_path_shows_a_spike_of_one_sample_among_thousands() -> None:
    x, y = np.linspace(0.0, 600.0, 100_000), np.full(100_000, 50.0)
    y[43_210] = 10.0
    (points,) = points_of(path_of(x, y))
    assert min(points, key=lambda point: point[1]) == pytest.approx((259.25, 10.0), abs=0.2)


def test_path_breaks_where_samples_are_not_finite() -> None:
    x, y = np.arange(10.0), np.ones(10)
    y[4], y[6] = np.nan, np.inf
    assert [len(run) for run in points_of(path_of(x, y))] == [2, 1, 2]
    assert path_of(x, np.full(10, np.nan)) == ""
    assert path_of(x[:0], y[:0]) == ""


def test_inputs_are_not_changed() -> None:
    x, y = np.linspace(0.0, 9.0, 500), np.random.default_rng(1).standard_normal(500)
    before = x.copy(), y.copy()
    path_of(x, y)
    np.testing.assert_array_equal((x, y), before)


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6))
def test_scale_has_two_or_more_round_numbers_inside(low: float, span: float) -> None:
    scale = Scale(low, low + span, 100.0, 20.0)
    ticks = scale.ticks()
    assert 2 <= len(ticks) <= 8
    assert all(20.0 - 1e-6 <= tick.place <= 100.0 + 1e-6 for tick in ticks)
    for tick in ticks:
        assert scale.place(float(tick.text)) == pytest.approx(tick.place, abs=0.1)


def test_nice_steps_are_one_two_or_five() -> None:
    assert [nice_step(value) for value in (0.11, 0.2, 0.3, 7, 0.0, np.nan)] == pytest.approx(
        [0.2, 0.2, 0.5, 10, 1, 1]
    )


def test_range_holds_the_values_and_survives_constants() -> None:
    low, high = range_of(np.array([1.0, 2.0, np.nan, np.inf]))
    assert low < 1.0 < 2.0 < high
    low, high = range_of(np.full(5, 1e9))
    assert low < 1e9 < high
    assert range_of(np.array([np.nan])) == (0.0, 1.0)


def test_scale_leaves_out_disturbed_stretches_if_it_can() -> None:
    times = np.arange(10.0)
    spans = Spans(np.array([2.0]), np.array([4.0]), np.array([1]))
    assert outside(times, spans).tolist() == [True] * 2 + [False] * 2 + [True] * 6
    assert outside(times, spans, margin_s=1.0).tolist() == [True] + [False] * 4 + [True] * 5


def event(onset_s: float, end_s: float | None, known_s: float = 0.0) -> Event:
    return Event(1, "apnea", onset_s, known_s or onset_s + 20.0, end_s)


def test_window_begins_ten_seconds_before_and_ends_ten_after() -> None:
    window = window_of(event(100.0, 125.0), [], 1000.0, left=LEFT, right=RIGHT)
    assert (window.start_s, window.end_s) == (90.0, 135.0)
    assert (window.x(90.0), window.x(135.0)) == (LEFT, RIGHT)
    assert window.x(89.0) is None


def test_a_strip_tells_time_as_the_list_of_events_does() -> None:
    window = window_of(event(3600.0, 3625.0), [], 9000.0, left=LEFT, right=RIGHT)
    assert [tick.text for tick in window.ticks()][:3] == ["0:59:50", "0:59:55", "1:00:00"]


def test_window_is_clipped_to_the_recording() -> None:
    window = window_of(event(3.0, None), [], 30.0, left=LEFT, right=RIGHT)
    assert (window.start_s, window.end_s) == (0.0, 30.0)


def test_window_reaches_back_to_a_linked_event_but_not_for_ever() -> None:
    for earlier_s, start_s in ((88.0, 83.0), (20.0, 80.0), (110.0, 90.0)):
        linked = [event(earlier_s, 120.0)]
        window = window_of(event(100.0, 125.0), linked, 1000.0, left=LEFT, right=RIGHT)
        assert window.start_s == start_s


def test_long_event_is_shown_in_a_first_and_a_last_part() -> None:
    window = window_of(event(100.0, 700.0), [], 1000.0, left=LEFT, right=RIGHT)
    first, last = window.parts
    assert (first.start_s, first.end_s, last.start_s, last.end_s) == (90.0, 125.0, 685.0, 710.0)
    assert window.left_out_s == 560.0
    assert first.right < last.left
    a_second = [part.width / (part.end_s - part.start_s) for part in window.parts]
    assert a_second[0] == pytest.approx(a_second[1])  # one time scale on both sides
    assert window.x(400.0) is None


def test_words_of_the_moments_do_not_cover_each_other() -> None:
    review = invented_review(100.0)
    words = ["onset", "alarm would start", "end", "alarm would stop"]
    for known_s, end_s, over_s in ((50.1, 50.2, 50.2), (52.0, 52.1, 54.0), (60.0, 75.0, 99.9)):
        event = Event(1, "low heart rate", 50.0, known_s, end_s)
        strip = strip_of(review, event, alarm=AlarmTimes(known_s, over_s))
        shown = [one for one in strip.moments if one.words != "alarm would stop"]
        assert [moment.words for moment in shown] == words[:3]
        for one in strip.moments:
            half = 2.6 * len(one.words)
            assert one.word_x - half >= LEFT
            assert one.word_x + half <= RIGHT
            for other in strip.moments:
                apart = abs(one.word_x - other.word_x) - half - 2.6 * len(other.words)
                assert one is other or apart > 0 or one.word_y != other.word_y


def test_no_line_of_a_moment_is_drawn_over_the_words_of_another() -> None:
    review = invented_review()
    drawn = draw_event(review, review.events[0]).svg
    assert drawn.count('class="moment-text"') > 1
    assert drawn.rindex('<path class="moment ') < drawn.index('class="moment-text"')


def test_alarm_starts_when_active_and_stops_when_known_to_be_over() -> None:
    event = Event(1, "apnea", 10.0, 33.0)
    over = dataclasses.replace(event, end_s=40.0)
    again = Event(2, "apnea", 60.0, 83.0)
    changes = [
        Change(33.0, "apnea", "active", "limit reached", event),
        Change(35.0, "apnea", "active", "reset", event),
        Change(42.5, "apnea", "latched", "breath", over),
        Change(83.0, "apnea", "active", "limit reached", again),
        Change(95.0, "apnea", "active", "settled", over),
    ]
    assert alarm_times(changes) == {1: AlarmTimes(33.0, 42.5), 2: AlarmTimes(83.0, None)}


def test_strip_shows_the_impedance_before_and_after_removal() -> None:
    review = invented_review()
    units = {panel.unit for panel in strip_of(review, review.events[0]).panels}
    assert {"ohm, before", "ohm, after"} <= units
    alone = invented_review(keep_cleaned=False)
    assert "ohm" in {panel.unit for panel in strip_of(alone, alone.events[0]).panels}


def test_panels_follow_each_other_without_overlap() -> None:
    review = invented_review()
    for shown in review.events:
        strip = strip_of(review, shown)
        tops = [panel.top for panel in strip.panels]
        bottoms = [panel.bottom for panel in strip.panels]
        assert all(bottom < top for bottom, top in zip(bottoms, tops[1:], strict=False))
        assert bottoms[-1] < strip.foot < strip.height
        names = [panel.name for panel in strip.panels]
        assert names == ["ECG", "impedance", "impedance", "heart rate"]


def test_strip_without_kept_effort_leaves_that_panel_out() -> None:
    review = invented_review(keep_cleaned=False)
    names = [panel.name for panel in strip_of(review, review.events[0]).panels]
    assert names == ["ECG", "impedance", "heart rate"]


def test_marks_of_a_strip_are_those_of_its_window() -> None:
    review = invented_review()
    shown = review.events[0]
    strip = strip_of(review, shown)
    beats = review.r_peaks.between(strip.window.start_s, strip.window.end_s)
    panel = strip.panels[0]
    assert panel.marks.count("M") == np.count_nonzero(beats.reliable)
    assert panel.odd_marks.count("m") == np.count_nonzero(~beats.reliable)


def test_shades_tell_lost_from_with_care_and_give_the_reason_where_it_fits() -> None:
    reasons = np.array([int(Reason.FLAT), int(Reason.MOVEMENT)])
    spans = Spans(np.array([2.0, 50.0]), np.array([2.1, 90.0]), reasons)
    short, long = shades_of(spans, [Part(0.0, 100.0, 0.0, 600.0)])
    assert (short.style, short.words) == ("lost", "")
    assert (long.style, long.words) == ("care", "movement")
    assert (long.left, long.width) == pytest.approx((300.0, 240.0))


def test_bins_give_median_and_extremes() -> None:
    trend = binned(
        np.array([0.0, 1.0, 1.5, 5.0, 99.0]),
        np.array([3.0, 1.0, 2.0, np.nan, 7.0]),
        np.array([0.0, 2.0, 4.0, 6.0]),
    )
    np.testing.assert_array_equal(trend.middle, [2.0, np.nan, np.nan])
    np.testing.assert_array_equal(trend.low, [1.0, np.nan, np.nan])
    np.testing.assert_array_equal(trend.high, [3.0, np.nan, np.nan])


def test_bins_are_not_shorter_than_asked() -> None:
    assert np.diff(bin_edges(0.0, 100.0, count=50, least_s=30.0)).min() >= 30.0
    assert len(bin_edges(0.0, 10_000.0, count=50, least_s=30.0)) == 51
    assert len(bin_edges(5.0, 5.0, count=50, least_s=30.0)) == 2


def test_breathing_rate_counts_usable_time_only() -> None:
    flat = Spans(np.array([60.0, 130.0]), np.array([120.0, 150.0]), np.array([4, 4]))
    breath_s = np.concatenate(
        [np.arange(0.5, 60.0), np.arange(120.5, 130.0), np.arange(150.5, 180)]
    )
    edges = np.array([0.0, 60.0, 120.0, 180.0])
    rate = breathing_rate(breath_s, flat, edges)
    assert rate[0] == pytest.approx(60.0)
    assert np.isnan(rate[1])
    assert rate[2] == pytest.approx(60.0)  # 40 breaths in 40 usable seconds
    np.testing.assert_allclose(lost_before(flat, edges), [0.0, 0.0, 60.0, 80.0])


def test_care_does_not_count_as_lost() -> None:
    moved = Spans(np.array([60.0]), np.array([120.0]), np.array([int(Reason.MOVEMENT)]))
    np.testing.assert_array_equal(lost_before(moved, np.array([0.0, 200.0])), [0.0, 0.0])


def test_pauses_across_lost_time_are_left_out() -> None:
    flat = Spans(np.array([10.0, 30.0]), np.array([20.0, 30.5]), np.array([4, 4]))
    onset_s, length_s = pauses(np.array([0.0, 9.0, 21.0, 40.0]), flat)
    np.testing.assert_array_equal(onset_s, [0.0, 21.0])
    np.testing.assert_array_equal(length_s, [9.0, 19.0])


def test_axis_of_hours_and_of_seconds() -> None:
    hours, clock = time_ticks(Part(0.0, 8 * 3600.0, 0.0, 600.0), None)
    assert [tick.text for tick in hours][:2] == ["0:00", "1:00"]
    assert clock == ()
    seconds, _ = time_ticks(Part(0.0, 50.0, 0.0, 600.0), None)
    assert seconds[1].text == "0:00:10"


def test_limits_far_from_the_rate_do_not_squash_it() -> None:
    review = invented_review()
    apnea = strip_of(review, review.events[0]).panels[-1]
    assert [line.words for line in apnea.lines] == ["low limit 80"]
    high = dataclasses.replace(review.events[1], kind="high heart rate")
    lines = strip_of(review, high).panels[-1].lines
    assert {line.words for line in lines} == {"low limit 80", "high limit 220"}


def test_the_moment_at_which_a_limit_was_reached_is_drawn() -> None:
    review = invented_review()
    apnea, slow = (strip_of(review, event) for event in review.events[:2])
    (reached,) = [moment for moment in apnea.moments if moment.style == "reached"]
    assert reached.words == "limit 20 s"
    assert reached.x == apnea.window.x(review.events[0].onset_s + 20.0)
    assert "reached" not in [moment.style for moment in slow.moments]  # its limit is a line


@pytest.mark.parametrize("words", ["shade", "limit", "moment", "bar", "break"])
def test_words_over_a_trace_have_a_rim_of_paper(words: str) -> None:
    """So that they can be read where the trace or a hatching runs through them."""
    css = (files("infantmon.report") / "templates" / "drawing.css").read_text(encoding="utf-8")
    rules = re.findall(r"([^{}]+)\{([^}]*)\}", css)
    told = " ".join(
        what
        for whom, what in rules
        if f".drawn .{words}-text" in [w.strip() for w in whom.split(",")]
    )
    assert "paint-order: stroke; stroke: var(--paper)" in told
    assert "dasharray" not in told


def test_the_page_says_what_a_lowest_rate_counts() -> None:
    """One long interval may lie below every averaged rate: 19 beside 65 a minute, say."""
    page = review_page(invented_review())
    assert ">extreme rate</th>" in page
    assert "one long interval may be lower than any averaged rate" in page
