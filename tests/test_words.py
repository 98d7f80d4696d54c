"""What the pages and docstrings say in numbers is what the code and the stored results have.

Each sentence is made from the constants behind it and looked for as it stands. A value that is
changed in the code alone fails here, and so does a figure that no stored result has.
"""

import json
import re
from pathlib import Path

import pytest

from infantmon import chain, cli_stream, framed
from infantmon.corpus.running import MEMORY_MIB
from infantmon.dsp import (
    beat_notch,
    beat_reliability,
    beat_train,
    breath_judge,
    qrs_candidates,
    qrs_envelope,
    qrs_locator,
    small_rows,
    usual_size,
)
from infantmon.dsp.beat_train import BeatTrain
from infantmon.dsp.bursts import LONG, UsualSwing
from infantmon.dsp.pulse_template import LONG_QUIET, SURE_S, PulseTemplate
from infantmon.dsp.qrs_decisions import MEMORY
from infantmon.dsp.qrs_rules import DecisionRules
from infantmon.dsp.usual_size import UsualSize
from infantmon.events import (
    case,
    evidence_breathing,
    evidence_standstill,
    isolated_swings,
    passed_over,
    probable_apneas,
    quick_swings,
    silences,
    unled_swings,
    untold_beats,
    watch,
)
from infantmon.events.even_swings import MOST_S
from infantmon.events.even_swings import SMALL as EVEN_SMALL
from infantmon.formats.source import HELD_SAMPLES
from infantmon.model.prescription import ApneaLimit
from infantmon.model.spans import BRIDGED_S
from infantmon.recorded import small_swings
from infantmon.report.page import MOST_STRIPS
from infantmon.stages import apnea_probability, breaths, contact
from infantmon.stages.bandpass import LOWEST_ECG_HZ, EcgBandPassSettings
from infantmon.stages.breaths import BreathDetector, BreathSettings
from infantmon.stages.cardiac_artifact import REMEMBERED_S, CardiacArtifactRejector
from infantmon.stages.contact import ContactDetector, ContactSettings
from infantmon.stages.r_peaks import RPeakDetector

ROOT = Path(__file__).parents[1]
RULES = DecisionRules()
NUMBERS = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"]


def folded(text):
    return re.sub(r"\s+", " ", text)


def page(name):
    return folded((ROOT / "docs" / f"{name}.md").read_text(encoding="utf-8"))


def stored(name):
    path = ROOT / "benchmarks" / "results" / f"{name}.json"
    return json.loads(path.read_text(encoding="utf-8"))


def of_events():
    alone, passed, unled = isolated_swings, passed_over, unled_swings
    few = evidence_standstill.FEW_BEATS
    return [
        f"Up to {BRIDGED_S:.1f} s: bridged; no timer changes",
        f"take up no more than {passed.SHARE:g} of the pause",
        f"nothing follows them for {passed.QUIET_S:g} s",
        f"A silence is {silences.SILENCE_S:g} s without a breath",
        f"and {silences.LONGER:g} usual intervals",
        f"is large ({alone.LARGE:g} of the usual size), follows a large one",
        f"within {alone.AFTER_S:g} s, or is small ({alone.SMALL:g} of it)",
        f"unless a large one comes within {alone.FIRST_S:g} s of the first",
        f"a row that goes on for more than {alone.MOST_S:g} s",
        f"no longer than {passed.SHORT_ROW_S:g} s, after a silence",
        f"with nothing for {passed.QUIET_AFTER_ROW_S:g} s after it",
        f"That needs {passed.ESTABLISHED_S:g} s of breathing before",
        f"Swings up to {NUMBERS[round(unled.GROWN)]} times the pulsation taken out before",
        f"or up to {unled.LEAST:g} of a usual breath, may be the heart",
        f"(none beyond {unled.SMALL:g} of a breath)",
        f"Where no beat has been found for {unled.NO_BEAT_S:g} s",
        f"A row of swings up to {EVEN_SMALL:g} of the usual breath",
        f"come at {60 / quick_swings.SOON_S:g} a minute and more",
        f"not looked like beats for {untold_beats.ESTABLISHED_S:g} s",
        f"{watch.COUPLED_AFTER_ONSET_S:g} s from its onset",
        f"{watch.COUPLED_AFTER_END_S:g} s from its end",
        f"Above {probable_apneas.LEAST:g} for half of the event or more it speaks for it",
        f"for nearly all of the {case.BEFORE_S:g} s before the event",
        f"Where fewer than {NUMBERS[evidence_breathing.ENOUGH_BEFORE]} breaths are in them",
        f"those of the {2 * case.BEFORE_S:g} s before count",
        f"by a time of {evidence_standstill.VANISHED_S:g} s and more without a beat",
        f"fewer than {NUMBERS[few]} beats were seen in the {case.BEFORE_S:g} s before",
    ]


def of_r_peaks():
    low, high = qrs_envelope.BAND_HZ
    return [
        f"band-passed from {low:g} to {high:g} Hz",
        f"absolute value over {qrs_envelope._ENVELOPE_S:g} s is the envelope",
        f"{qrs_candidates.SIGHT_S:g} s to either side is looked at",
        f"medians of the latest {NUMBERS[MEMORY]}",
        f"After {NUMBERS[round(RULES.late)]} usual intervals without a beat",
    ]


def of_recorded():
    assert case.DISTURBED_SHARE == 1 / 5
    return [
        f"all swings are below {small_swings.CLEAR_SHARE:g} of the breaths around it",
        f"With more than {MOST_STRIPS} strips on a page",
    ]


def of_streaming():
    return [
        f"run ahead of another by {chain.AHEAD_S:g} s",
        f"within {framed.SLACK:g} samples of the end of what has come",
        f"A channel that is {framed.SILENT_S:g} s behind",
        f"longer than {framed.LONGEST_LINE / 2**20:g} MiB is skipped",
        f"The first {cli_stream.MOST_TOLD} lines that were skipped",
    ]


def of_corpus():
    held_h = HELD_SAMPLES / 250.0 / 3600.0
    return [
        f"A channel of up to {HELD_SAMPLES / 1e6:g} million samples ({held_h:.1f} h at 250 Hz)",
        f"ask for {MEMORY_MIB} MiB",
    ]


def of_stages():
    low, high = qrs_envelope.BAND_HZ
    band = EcgBandPassSettings(250.0)
    return [
        f"its default of {band.low_hz:g} to {band.high_hz:g} Hz",
        f"every rate from {LOWEST_ECG_HZ:g} Hz on",
        f"R peaks are found in a band of their own, {low:g} to {high:g} Hz",
        f"EcgBandPassSettings(rate_hz, low_hz={low}, high_hz={high})",
    ]


PAGES = {
    "stages": of_stages(),
    "streaming": of_streaming(),
    "corpus": of_corpus(),
    "events": of_events(),
    "r-peaks": of_r_peaks(),
    "recorded-events": of_recorded(),
    "cannot-see": [f"once it has lasted for {usual_size.FEW_GIVEN_UP_S:g} s"],
}


@pytest.mark.parametrize(
    ("name", "sentence"), [(name, one) for name, told in PAGES.items() for one in told]
)
def test_a_page_says_what_the_code_does(name, sentence):
    assert sentence in page(name)


def of_the_r_peak_detector():
    low, high = qrs_envelope.BAND_HZ
    return [
        f"y, {low:g} to {high:g} Hz",
        f"up to {qrs_envelope._EDGE_SHARE:g} of the rate only",
        f"below {high / qrs_envelope._EDGE_SHARE:.0f} Hz",
        f"largest within {qrs_candidates.APART_S:g} s",
        f"within s = {qrs_candidates.SIGHT_S:g} s on either side",
        f"agree to {qrs_candidates._WHOLLY:g} as they are",
        f"where a is {RULES.rise:g}",
        f"(h > {RULES.small:g} B) but deep, clear of noise (h > {RULES.small_over_noise:g} N)",
        f"than {RULES.small_gap:g} s times the square root",
        f"alike in shape (> {RULES.local_likeness:g}), deep",
        f"at least half of L and {RULES.local_floor:g} C",
        f"within {RULES.t_wave_s:g} s of a beat",
        f"unless h reaches {RULES.t_wave_below:g} C",
        f"{RULES.late_whole:g} B high, or {RULES.late_height:g} B and {RULES.late_over_noise:g} N",
        f"N, or alike (> {RULES.late_likeness:g})",
        f"{RULES.refractory:g} R between {RULES.refractory_low_s:g}",
        f"and {RULES.refractory_high_s:g} s, and a candidate",
        f"Before {NUMBERS[RULES.learned]} beats are known, and after {RULES.forget_s:g} s",
        f"after {NUMBERS[RULES.few_plain]} such candidates where fewer than {NUMBERS[RULES.few]}",
        f"(mean over {qrs_locator._BASELINE_S:g} s) within {qrs_locator.SEARCH_S:g} s",
        f"exceeds {beat_reliability._LEAST:g}",
        f"the likeness less {beat_reliability._PER_BETWEEN:g}",
    ]


def of_the_breath_detector():
    return [
        f"at least {breaths.LEAST_SHARE:g} of the usual size",
        f"({breaths.FOLLOWED:g} without an ECG)",
        f"within the last {BreathSettings(50.0).rise_within_s:g} s",
        f"the rise is at least {breath_judge.LASTING:g} of the usual size",
        f"no longer than {breaths.TOP_BEFORE_S:g} s before the maximum",
        f"may lie {0.5 * breaths.TOP_BEFORE_S:g} s before the maximum",
        f"the last {usual_size.KEPT} breaths",
        f"at least {breath_judge.OF_PULSE:g} of it, or {breath_judge.OF_PULSE_MOST:g} of the usual",
    ]


def of_contact():
    ecg, chest = ContactSettings.for_ecg(250.0), ContactSettings.for_impedance(50.0)
    return [
        f"{chest.flat_s:g} s of a flat impedance",
        f"more than {BRIDGED_S:.1f} s of invalid samples",
        f"less than {contact.JOINED_S:g} s apart are one",
        f"spanning {NUMBERS[round(ecg.movement_ratio)]} times that",
        f"as the usual ones after {UsualSwing._ALIKE * LONG * contact._BLOCK_S:g} s",
        f"once they take up {UsualSwing._NO_LONGER_UNUSUAL * LONG * contact._BLOCK_S:g} s",
    ]


def of_usual_size():
    return [
        f"unless nothing smaller comes for {usual_size.HUGE_FOR_S:g} s",
        f"In the first {usual_size.NEW_S:g} s a size beyond {usual_size.FAR:g} usual ones",
        f"{NUMBERS[small_rows.SMALL_COUNT]} small ones in an even row",
        f"after {usual_size.PATIENCE_S:g} s in which all were small: breathing has become shallow",
        f"After {usual_size.GIVEN_UP_S:g} s of silence an even row may be of any size",
        f"After {usual_size.WHATEVER_S:g} s it sinks whatever comes",
        f"{NUMBERS[usual_size.FEW]} sizes are forgotten after {usual_size.FEW_GIVEN_UP_S:g} s",
        f"A long memory of about {usual_size.LONG_COUNT} sizes",
    ]


def of_the_beat_train():
    return [
        f"{NUMBERS[beat_train.SLOWER_COUNT]} even intervals in a row",
        f"({NUMBERS[beat_train.MULTIPLE_COUNT]} where they are two or three usual ones long)",
        f"{NUMBERS[beat_train.FASTER_COUNT]} if they are shorter",
        f"For {beat_train.BACK_FOR} cycles after that {NUMBERS[beat_train.BACK_COUNT]} are enough",
    ]


def of_the_second_opinion():
    return [
        f"of more than {beat_notch.LONGEST_S:g} s is left as it is",
        f"and {apnea_probability.AHEAD_S:g} s. `time_s`",
        f"after a gap of more than {apnea_probability.ANEW_S:g} s",
    ]


DOCSTRINGS = [
    (RPeakDetector, of_the_r_peak_detector()),
    (BreathDetector, of_the_breath_detector()),
    (ContactDetector, of_contact()),
    (UsualSize, of_usual_size()),
    (BeatTrain, of_the_beat_train()),
    (
        beat_reliability.BeatReliability,
        [
            f"less {beat_reliability._PER_BETWEEN:g} for every candidate",
            f"exceeds {beat_reliability._LEAST:g}",
        ],
    ),
    (
        PulseTemplate,
        [f"waits for {SURE_S:g} s of quiet", f"what lasts for {LONG_QUIET} beats becomes usual"],
    ),
    (CardiacArtifactRejector, [f"Memory: {REMEMBERED_S:g} s of samples"]),
    (apnea_probability.ApneaProbability, of_the_second_opinion()),
]


@pytest.mark.parametrize(
    ("thing", "sentence"), [(thing, one) for thing, told in DOCSTRINGS for one in told]
)
def test_a_docstring_says_what_the_code_does(thing, sentence):
    assert sentence in folded(thing.__doc__)


def test_a_minute_is_a_minute_and_shares_are_what_the_words_say():
    """Values that the pages tell in words that hold no number."""
    assert MOST_S == 60.0
    assert quick_swings.UNEVEN == 3 / 4
    assert (evidence_breathing.AGREES_SHARE, evidence_breathing.DISAGREES_SHARE) == (0.5, 0.1)
    assert evidence_breathing.CAME_BACK_LEAST == 1 / 4
    assert round(1 / qrs_candidates._BLUNT) == 3


def test_noise_may_end_a_pause_only_after_the_longest_apnea_limit():
    (most,) = [
        rule.le for rule in ApneaLimit.model_fields["limit_s"].metadata if hasattr(rule, "le")
    ]
    assert most < usual_size.FEW_GIVEN_UP_S


def test_apneas_without_an_ecg_are_told_as_they_were_measured():
    (row,) = [
        line.split("|")
        for line in (ROOT / "benchmarks/results/musts.md").read_text(encoding="utf-8").splitlines()
        if line.startswith("| pauses at 20 s, no ECG, pulsation from 0.5 |")
    ]
    found, of = map(int, re.search(r"(\d+) of (\d+) found", row[3]).groups())
    words = (
        f"With a pulsation of 0.8 of a breath {found} of {of} such apneas were found in simulation"
    )
    assert words in page("cannot-see")


def test_childrens_pauses_without_an_ecg_are_told_as_they_were_measured():
    rows = [row for row in stored("child_breaths")["rows"] if not row["led"]]
    largest = [row for row in rows if row["pulsation"] == 0.8]
    told = []
    for sleep in ("NREM", "REM"):
        asleep = [row for row in largest if row["whose"] == f"children, {sleep} sleep"]
        found, of = (sum(row[name] for row in asleep) for name in ("found", "pauses"))
        told.append(f"{found} of {of} in {sleep} sleep")
    assert " and ".join(told) in page("cannot-see")
    large = largest + [row for row in rows if row["heart"] != "140"]
    missed = sum(row["said"]["not listed"] for row in large)
    but = f" but {missed}" if missed else ""
    words = f"Of {sum(row['pauses'] for row in large)} such pauses all{but} were listed"
    assert words in page("cannot-see")


def test_false_hearts_after_handling_are_told_as_they_were_measured():
    rows = stored("handling")["rows"]
    (at,) = [place for place, row in enumerate(rows) if "stopped hearts" in row["measured"]]
    listed, supported = rows[at], rows[at + 1]
    assert supported["measured"] == "of these supported"
    words = f"{supported['count']} of {listed['count']} in simulation were called supported"
    assert words in page("cannot-see")


def test_figures_of_a_corpus_are_those_stored():
    told, text = stored("corpus"), page("corpus")
    assert f"{told['times_real_1']:,.0f} recorded hours a core-hour" in text
    assert f"two processes {told['speedup']:.2f} times as fast as one by the clock" in text
    assert f"{told['peak_mib']:.0f} MiB a worker at most" in text
    assert (
        f"{told['bytes_a_night'] / 1e3:.0f} kB of dataset in {told['files_a_night']:g} files"
        in text
    )
    assert f"{told['input_bytes_a_night'] / 1e6:.1f} MB of input" in text
