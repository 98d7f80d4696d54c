"""Stored events to JSON and Parquet and back: exactly equal, whatever is in them."""

import json
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from infantmon.errors import RecordingError
from infantmon.event_store import (
    EventStore,
    Overwritten,
    OverwrittenOfKind,
    StoredEvent,
    Waveform,
)
from infantmon.formats.stored_events import (
    read_stored_events,
    read_stored_events_parquet,
    write_stored_events,
    write_stored_events_parquet,
)
from infantmon.model.event import Event, Evidence, UnusableStretch

TIMES = st.floats(0.0, 1e9, allow_nan=False)
NUMBERS = st.floats(allow_nan=False)
PLAIN_WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
SAMPLES = arrays(np.float64, st.integers(0, 20), elements=st.floats(width=64))
EVENTS = st.builds(
    Event,
    number=st.integers(1, 10**9),
    kind=PLAIN_WORDS,
    onset_s=TIMES,
    known_s=TIMES,
    end_s=st.none() | TIMES,
    settled_s=st.none() | TIMES,
    judgement=PLAIN_WORDS,
    reasons=st.lists(st.builds(Evidence, PLAIN_WORDS, PLAIN_WORDS), max_size=3).map(tuple),
    limits=st.dictionaries(
        PLAIN_WORDS.filter(lambda word: word != "number"),
        st.one_of(st.integers(-9, 9), NUMBERS, PLAIN_WORDS),
        max_size=3,
    ),
    linked=st.lists(st.integers(1, 99), max_size=3).map(tuple),
    effort_free_s=st.none() | NUMBERS,
    lowest_bpm=st.none() | NUMBERS,
    highest_bpm=st.none() | NUMBERS,
    unusable=st.lists(st.builds(UnusableStretch, NUMBERS, NUMBERS, PLAIN_WORDS), max_size=2).map(
        tuple
    ),
)
FORMS = st.builds(Waveform, st.floats(1.0, 2000.0), st.integers(0, 2**40), SAMPLES)
STORED = st.builds(
    StoredEvent,
    EVENTS,
    TIMES,
    TIMES | st.just(math.inf),
    st.dictionaries(st.sampled_from(["ecg", "ecg2", "impedance"]), FORMS),
    st.booleans(),
)
STORES = st.builds(
    EventStore,
    st.lists(STORED, max_size=3).map(tuple),
    st.dictionaries(
        PLAIN_WORDS, st.builds(OverwrittenOfKind, st.integers(1, 9), TIMES, TIMES), max_size=2
    ),
    st.lists(
        st.builds(Overwritten, st.integers(1, 9), PLAIN_WORDS, TIMES, st.none() | TIMES),
        max_size=3,
    ).map(tuple),
)
WAYS = {
    "json": (write_stored_events, read_stored_events),
    "parquet": (write_stored_events_parquet, read_stored_events_parquet),
}


@pytest.mark.parametrize("way", WAYS)
@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(store=STORES)
def test_what_is_read_equals_what_was_written(tmp_path, way, store):
    if way == "parquet":
        pytest.importorskip("pyarrow")
    write, read = WAYS[way]
    write(store, tmp_path / "events")
    again = read(tmp_path / "events")
    assert again.equals(store)
    for one, two in zip(store, again, strict=True):
        for role, form in one.waveforms.items():  # bit for bit, signs of zero too
            finite = np.isfinite(form.values)
            signs = np.signbit(form.values) == np.signbit(two.waveforms[role].values)
            assert signs[finite].all()


def test_json_is_strict(tmp_path):
    event = Event(1, "apnea", 1.0, 2.0)
    form = Waveform(10.0, 0, np.array([1.0, math.nan, math.inf]))
    store = EventStore((StoredEvent(event, 0.0, math.inf, {"ecg": form}, complete=False),))
    write_stored_events(store, tmp_path / "events.json")

    def refuse(word):
        raise AssertionError(word)

    told = json.loads((tmp_path / "events.json").read_text(), parse_constant=refuse)
    assert "not a medical device" in told["notice"]


def test_a_parquet_file_is_a_table_of_events(tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    event = Event(7, "apnea", 1.0, 2.0, 30.5)
    form = Waveform(10.0, 3, np.array([1.0, 2.0]))
    store = EventStore((StoredEvent(event, 0.0, 60.5, {"ecg": form}, complete=True),))
    write_stored_events_parquet(store, tmp_path / "events.parquet")
    (row,) = parquet.read_table(tmp_path / "events.parquet").to_pylist()
    assert (row["number"], row["kind"], row["onset_s"], row["ecg"]) == (7, "apnea", 1.0, [1.0, 2.0])


@pytest.mark.parametrize("text", ["", "{", "[]", '{"format": "another"}', '{"events": []}'])
def test_another_or_damaged_file_is_refused(tmp_path, text):
    (tmp_path / "events.json").write_text(text)
    with pytest.raises(RecordingError):
        read_stored_events(tmp_path / "events.json")


def test_a_damaged_parquet_file_is_refused(tmp_path):
    pytest.importorskip("pyarrow")
    (tmp_path / "events.parquet").write_bytes(b"PAR1 and no more")
    with pytest.raises(RecordingError):
        read_stored_events_parquet(tmp_path / "events.parquet")


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(RecordingError, match="does not exist"):
        read_stored_events(tmp_path / "none.json")
