"""Cards: annotators pooled, stretches apart, trust, shutdown; on invented recordings."""

import numpy as np
import pytest

from infantmon.labelled.database import Labelled, SetApart
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording
from infantmon.scorecard.card import Card, pooled_timing
from infantmon.scorecard.detectors import AdaptedDetector, Detected, OwnBeats, _held
from infantmon.scorecard.gates import Gate, judge
from infantmon.scorecard.page import as_html
from infantmon.scorecard.record_score import RecordScore, WindowScore, score_record
from infantmon.scorecard.snr_picture import snr_picture
from infantmon.scorecard.tables import beside, total_rows
from infantmon.scoring.marks import match_marks
from infantmon.scoring.tallies import Tally
from infantmon.selftest.drawing import ECG_HZ, at_rate, drawn
from infantmon.stages.r_peaks import detect_r_peaks

BEATS = np.arange(1.0, 600.0)
SIGNAL = Recording({"ecg": Channel(np.zeros(600 * 50), 50.0, "mV", name="ECG")}, name="one")


def scored(detected, *, references=(BEATS,), apart=(), from_s=0.0):
    labelled = Labelled(SIGNAL, beats_s=references[0], set_apart=apart)
    return score_record(
        "one",
        labelled,
        references,
        detected,
        windows_s=(0.15, 0.05),
        from_s=from_s,
        signal_role="ecg",
    )


def test_annotators_are_pooled():
    row = scored(Detected(BEATS), references=(BEATS, BEATS[::2]))
    assert row.tally == Tally(599 + 300, 0, 299)


def test_each_window_has_its_own_counts_and_timing():
    row = scored(Detected(BEATS + 0.1))
    assert row.windows[0].tally == Tally(599, 0, 0)
    assert row.windows[1].tally == Tally(0, 599, 599)
    assert row.windows[0].bias_s == pytest.approx(0.1)
    assert row.windows[1].bias_s is None
    assert sum(row.windows[0].errors) == 599


def test_where_the_reference_marks_nothing_nothing_is_scored():
    apart = (SetApart(100.5, 110.5, "flutter", unmarked=True),)
    reference = BEATS[(BEATS < 100.5) | (BEATS > 110.5)]
    row = scored(Detected(BEATS), references=(reference,), apart=apart)
    assert row.tally == Tally(589, 0, 0)
    assert row.scored_s == pytest.approx(590.0)
    assert "not scored (10 test marks there)" in row.notes[0]


def test_where_the_reference_is_wrong_it_counts_and_is_told_without():
    apart = (SetApart(100.5, 110.5, "artefact"),)
    found = BEATS[(BEATS < 100.5) | (BEATS > 110.5)]
    row = scored(Detected(found), apart=apart)
    assert row.tally == Tally(589, 10, 0)
    assert row.known_wrong == Tally(589, 0, 0)


def test_shutdown_stands_beside_and_does_not_excuse():
    found = BEATS[(BEATS < 100.5) | (BEATS > 110.5)]
    row = scored(Detected(found, shutdown_s=np.array([[100.2, 110.7]])), from_s=50.0)
    assert row.tally.false_negatives == 10
    assert row.shutdown.seconds == pytest.approx(10.5)
    assert (row.shutdown.reference, row.shutdown.test) == (10, 0)
    assert row.shutdown.outside.false_negatives == 0


def test_marks_in_shutdown_are_summed_over_annotators():
    """As in the counts, where each annotator meets every test mark."""
    shut = np.array([[100.5, 110.5]])
    row = scored(Detected(BEATS, shutdown_s=shut), references=(BEATS, BEATS[::2]))
    inside, outside = row.shutdown, row.shutdown.outside
    assert (inside.reference, inside.test) == (10 + 5, 10 + 10)
    assert inside.reference + outside.reference_count == row.tally.reference_count
    assert inside.test + outside.test_count == row.tally.test_count


def test_shutdown_is_counted_where_it_is_scored():
    """A stretch in shutdown may begin before the scored period, or lie in unmarked time."""
    apart = (SetApart(105.0, 120.0, "flutter", unmarked=True),)
    shut = np.array([[40.0, 52.0], [100.0, 110.0], [112.0, 115.0]])
    row = scored(Detected(BEATS, shutdown_s=shut), apart=apart, from_s=50.0)
    assert row.shutdown.seconds == pytest.approx(2.0 + 5.0 + 0.0)


def test_trust_is_held_against_the_reference():
    marks = np.sort(np.concatenate((BEATS, [50.5, 60.5])))
    reliable = np.ones(len(marks), dtype=bool)
    reliable[np.isin(marks, [50.5, 10.0])] = False
    trust = scored(Detected(marks, reliable)).trusted
    assert (trust.right_trusted, trust.right_doubted) == (598, 1)
    assert (trust.wrong_trusted, trust.wrong_doubted) == (1, 1)


def test_the_strip_shows_the_most_errors():
    found = BEATS[(BEATS < 200.5) | (BEATS > 205.5)]
    strip = scored(Detected(np.sort(np.append(found, 20.5)))).strip
    assert strip.missed_s.tolist() == [201.0, 202.0, 203.0, 204.0, 205.0]
    assert strip.start_s < 201.0 < strip.start_s + len(strip.values) / strip.rate_hz
    assert scored(Detected(BEATS)).strip is None


def test_a_card_adds_up_and_pools_timing():
    none = np.empty((0, 2))  # it tells, and has none
    rows = tuple(
        scored(Detected(found, shutdown_s=none)) for found in (BEATS + 0.01, BEATS[:100] - 0.01)
    )
    card = Card("d", "nobody", "invented", "yes", "beats", "x", 0.0, rows)
    assert card.gross() == Tally(699, 499, 0)
    errors = np.concatenate((np.full(599, 0.01), np.full(100, -0.01)))
    assert card.timing_s() == pytest.approx((errors.mean(), errors.std()))
    assert total_rows(card)[0][:4] == ["within 150 ms", "699", "499", "0"]
    assert beside(card)[0].startswith("Shutdown")
    assert pooled_timing([]) == (None, None)


def test_missing_samples_are_held_for_other_peoples_code():
    nan = float("nan")
    assert _held(np.array([nan, 1.0, nan, nan, 2.0])).tolist() == [0.0, 1.0, 1.0, 1.0, 2.0]


def test_marks_given_twice_are_told():
    def thrice(_samples, _rate_hz):
        return [3.0, 1.0, 2.0, 2.0, 2.0]

    found = AdaptedDetector("thrice", thrice, "ecg").detect(Labelled(SIGNAL))
    assert scored(found).shutdown is None  # nothing is known of it, which is not "none"
    assert found.time_s.tolist() == [1.0, 2.0, 3.0]
    assert scored(found).notes == ("2 marks stood at the instant of another; counted once",)


@pytest.mark.parametrize("cut", [[(10.0, 60.0)], [(0.0, 20.0), (30.0, 60.0)]])
def test_a_late_or_broken_channel_keeps_the_time_of_the_recording(cut):
    """Labels count from the start of the recording, not from the first sample of a channel."""
    drawing = drawn(at_rate(120.0, 60.0, seed=1), 60.0, seed=1)
    there = [drawing.samples_mv[round(a * ECG_HZ) : round(b * ECG_HZ)] for a, b in cut]
    pieces = [(a, values) for (a, _), values in zip(cut, there, strict=True)]
    ecg = Channel.joined(pieces, ECG_HZ, "mV", name="ECG")
    labelled = Labelled(Recording({"ecg": ecg}, name="late"))
    reference = np.array([b for b in drawing.beat_s if any(x + 1 < b < y - 1 for x, y in cut)])
    for detector in (OwnBeats(), AdaptedDetector("own", own_beats, "ecg")):
        found = detector.detect(labelled).time_s
        assert len(match_marks(reference, found, 0.05)) == len(reference), detector.name
    lost = OwnBeats().detect(labelled).shutdown_s
    assert lost[0] == pytest.approx((0.0, 10.0) if len(cut) == 1 else (20.0, 30.0))


def own_beats(samples, rate_hz):
    return detect_r_peaks(samples, rate_hz, unit="mV").time_s


def test_no_gate_holds_for_each_of_no_records():
    row = scored(Detected(np.empty(0)), references=(np.empty(0),))
    card = Card("d", "nobody", "invented", "yes", "beats", "x", 0.0, (row,))
    together, each = judge(card, [Gate("se", 0.0)], each=True)
    assert not together.holds
    assert not each.holds


@pytest.mark.parametrize(
    ("missed", "least", "told"),
    [
        (153, 99.85, "99.847 %: NOT reached; furthest below: one 99.847"),
        (1, 100.0, "99.999 %: NOT reached; furthest below: one 99.999"),
        (153, 99.9, "99.85 %: NOT reached; furthest below: one 99.85"),
        (153, 99.8, "99.85 %: holds"),
    ],
)
def test_a_figure_is_not_rounded_up_to_the_gate_that_it_misses(missed, least, told):
    row = RecordScore("one", 1.0, 1.0, (WindowScore(0.15, Tally(100_000 - missed, missed, 0)),))
    card = Card("d", "nobody", "invented", "yes", "beats", "x", 0.0, (row,))
    (verdict,) = judge(card, [Gate("se", least)])
    assert verdict.words.endswith(told)


def test_no_picture_against_the_ratio_where_nothing_is_defined():
    row = scored(Detected(np.empty(0)), references=(np.empty(0),))
    cards = [
        Card("d", "nobody", "invented", "yes", "beats", "x", 0.0, (row,), f"muscle noise at {r} dB")
        for r in (6, 12)
    ]
    assert snr_picture(cards) is None
    assert "Scores of detectors" in as_html(cards)


def test_lines_of_two_detectors_are_told_apart():
    rows = [scored(Detected(BEATS[:count])) for count in (300, 500)]
    cards = [
        Card(
            "d", "nobody", "invented", "yes", "beats", name, 0.0, (row,), f"muscle noise at {r} dB"
        )
        for name, row in zip(("one", "other"), rows, strict=True)
        for r in (6, 12)
    ]
    lines = snr_picture(cards)["lines"]
    told = [(line["letter"], line["name"], line["dashed"]) for line in lines]
    assert told == [
        ("a", "Se, one", False),
        ("a", "PPV, one", True),
        ("b", "Se, other", False),
        ("b", "PPV, other", True),
    ]
    assert as_html(cards).count(">b</text>") == 4  # at each spot of both lines


def test_rejected_false_alarms_are_counted_beside():
    kinds = [Tally(1, 0, 0)] * 3 + [Tally(0, 1, 0)] + [Tally(0, 0, 1)] * 2 + [Tally()] * 6
    rows = tuple(
        RecordScore(f"{k}", 1.0, 1.0, (WindowScore(None, t),)) for k, t in enumerate(kinds)
    )
    card = Card("d", "nobody", "invented", "yes", "alarms", "ours", 0.0, rows)
    assert beside(card) == ["False alarms rejected: 6 of 8, 75.00 % (95 %: 40.93 to 92.85)."]
    beats = Card("d", "nobody", "invented", "yes", "beats", "ours", 0.0, rows)
    assert beside(beats) == []
