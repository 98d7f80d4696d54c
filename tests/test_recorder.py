"""The store of events: windows, first in first out, what was overwritten; equal however cut."""

import numpy as np
import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.errors import ArgumentError
from infantmon.model.event import Change, Event
from infantmon.recorder import Recorder

RATES = {"ecg": 10.0, "impedance": 5.0}


def went(number, onset, known, end=None, kind="apnea", settled=None):
    event = Event(number, kind, onset, known, end, settled)
    return Change(known if end is None else end, kind, "active", "told", event)


def fed(recorder, until_s, changes=(), start_s=0.0):
    """Push ramps (each sample is its own time) up to a time, with changes at the end."""
    ecg = np.arange(round(start_s * 10), round(until_s * 10)) / 10.0
    impedance = np.arange(round(start_s * 5), round(until_s * 5)) / 5.0
    recorder.push(changes, ecg=ecg, impedance=impedance)


def test_the_window_reaches_60_s_before_the_onset_and_30_s_after_the_end():
    recorder = Recorder(RATES)
    fed(recorder, 123.0, [went(1, 100.0, 123.0)])
    fed(recorder, 200.0, [went(1, 100.0, 123.0, end=130.0)], start_s=123.0)
    (stored,) = recorder.store
    assert (stored.from_s, stored.until_s, stored.complete) == (40.0, 160.0, True)
    for role, rate in RATES.items():
        form = stored.waveforms[role]
        assert (form.start_s, form.end_s) == (40.0, 160.0)
        assert np.array_equal(form.values, np.arange(40.0 * rate, 160.0 * rate) / rate)


def test_the_window_is_a_setting():
    recorder = Recorder(RATES, before_s=5.0, after_s=2.0)
    fed(recorder, 200.0, [went(1, 100.0, 123.0), went(1, 100.0, 123.0, end=130.0)])
    (stored,) = recorder.store
    assert (stored.waveforms["ecg"].start_s, stored.waveforms["ecg"].end_s) == (95.0, 132.0)


def test_an_open_event_is_there_but_not_complete():
    recorder = Recorder(RATES)
    fed(recorder, 123.0, [went(1, 100.0, 123.0)])
    (stored,) = recorder.store
    assert stored.until_s == np.inf
    assert not stored.complete
    assert stored.waveforms["ecg"].end_s == 123.0


def test_a_window_that_ends_with_the_recording_is_not_complete():
    recorder = Recorder(RATES)
    fed(recorder, 140.0, [went(1, 100.0, 123.0), went(1, 100.0, 123.0, end=130.0)])
    assert not recorder.store[0].complete
    assert recorder.store[0].waveforms["ecg"].end_s == 140.0


def test_a_long_event_keeps_its_first_part_and_says_so():
    recorder = Recorder(RATES, longest_s=100.0)
    fed(recorder, 900.0, [went(1, 100.0, 123.0), went(1, 100.0, 123.0, end=800.0)])
    (stored,) = recorder.store
    assert stored.waveforms["ecg"].end_s == 140.0
    assert not stored.complete


def test_what_had_gone_before_it_was_known_is_told():
    recorder = Recorder(RATES, back_s=50.0)
    fed(recorder, 123.0, [went(1, 100.0, 123.0)])
    assert recorder.store[0].from_s == 73.0
    assert not recorder.store[0].complete


def test_near_the_start_there_is_less_before_and_that_is_all_there_was():
    recorder = Recorder(RATES)
    fed(recorder, 90.0, [went(1, 10.0, 33.0), went(1, 10.0, 33.0, end=35.0)])
    assert recorder.store[0].waveforms["ecg"].start_s == 0.0
    assert recorder.store[0].complete


def test_the_oldest_makes_room_and_that_is_told_exactly():
    recorder = Recorder(RATES, most_events=2)
    changes = [
        went(1, 10.0, 20.0, kind="apnea"),
        went(2, 30.0, 40.0, kind="low heart rate"),
        went(3, 50.0, 60.0, kind="apnea"),
        went(4, 70.0, 80.0, kind="apnea"),
        went(5, 90.0, 95.0, kind="apnea"),
    ]
    fed(recorder, 100.0, changes)
    store = recorder.store
    assert [stored.event.number for stored in store] == [4, 5]
    assert store.overwritten_count == 3
    told = {k: (t.count, t.first_onset_s, t.last_onset_s) for k, t in store.overwritten.items()}
    assert told == {"apnea": (2, 10.0, 50.0), "low heart rate": (1, 30.0, 30.0)}
    assert [(one.number, one.kind, one.onset_s) for one in store.overwritten_events] == [
        (1, "apnea", 10.0),
        (2, "low heart rate", 30.0),
        (3, "apnea", 50.0),
    ]
    assert "3 overwritten" in store.overwritten_text


def test_what_was_overwritten_does_not_come_back_when_it_settles():
    recorder = Recorder(RATES, most_events=1)
    fed(recorder, 100.0, [went(1, 10.0, 20.0), went(2, 30.0, 40.0)])
    fed(recorder, 120.0, [went(1, 10.0, 20.0, end=50.0, settled=110.0)], start_s=100.0)
    assert [stored.event.number for stored in recorder.store] == [2]
    assert recorder.store.overwritten_count == 1


def test_nothing_overwritten_is_said_too():
    assert Recorder(RATES).store.overwritten_text == "nothing was overwritten"


def test_a_gap_is_stored_as_missing():
    recorder = Recorder(RATES)
    fed(recorder, 50.0)
    recorder.gap("ecg", [], until_s=60.0)
    recorder.push([], impedance=np.arange(250, 300) / 5.0)
    fed(recorder, 150.0, [went(1, 61.0, 84.0), went(1, 61.0, 84.0, end=85.0)], start_s=60.0)
    values = recorder.store[0].waveforms["ecg"].values
    times = recorder.store[0].waveforms["ecg"].start_s + np.arange(len(values)) / 10.0
    assert np.array_equal(np.isnan(values), (times > 49.95) & (times < 59.95))


def test_a_channel_without_a_rate_is_refused_and_nothing_taken():
    recorder = Recorder({"ecg": 10.0})
    with pytest.raises(ArgumentError, match="'impedance' has no rate"):
        recorder.push([], ecg=np.zeros(10), impedance=np.zeros(5))
    recorder.push([went(1, 0.0, 0.5)], ecg=np.zeros(5))
    assert len(recorder.store[0].waveforms["ecg"].values) == 5


@pytest.mark.parametrize("until_s", [np.nan, "5", None])
def test_a_gap_needs_a_time(until_s):
    with pytest.raises(ArgumentError, match=r"until_s is .*a (finite )?number in s is expected"):
        Recorder({"ecg": 250.0}).gap("ecg", [], until_s=until_s)


def test_no_rates_are_refused():
    with pytest.raises(ArgumentError, match="rates_hz"):
        Recorder({})


# Beside a monitor -----------------------------------------------------------------------------

PLAN = {
    "apnea": {"limit_s": 20},
    "low_heart_rate": {"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
    "contact_loss": {"delay_s": 5},
}


@pytest.fixture(scope="module")
def night():
    pauses = [sim.Pause(60.0 + 80.0 * k, 25.0, sim.SlowingInPause()) for k in range(4)]
    loose = sim.LooseElectrode(400.0, 20.0)
    scenario = sim.Scenario(480.0, 125.0, 50.0, events=(*pauses, loose))
    return sim.simulate_night(scenario, 3)


def recorded(night, chunk_s, *, save_at=None, **settings):
    plan = im.Prescription(**PLAN)
    monitor = im.Monitor(plan, ecg_hz=125.0, impedance_hz=50.0, ecg_unit="mV", impedance_unit="ohm")
    recorder = Recorder({"ecg": 125.0, "impedance": 50.0}, **settings)
    ecg = night.recording.ecg.segments[0].read(0, 60000)
    impedance = night.recording.impedance.segments[0].read(0, 24000)
    for k in range(round(480.0 / chunk_s)):
        low, high = k * chunk_s, (k + 1) * chunk_s
        part = {
            "ecg": ecg[round(low * 125) : round(high * 125)],
            "impedance": impedance[round(low * 50) : round(high * 50)],
        }
        recorder.push(monitor.push(**part), **part)
        if save_at is not None and k == save_at:
            again = Recorder({"ecg": 125.0, "impedance": 50.0}, **settings)
            again.restore(recorder.snapshot())
            recorder = again
    return recorder.finish(monitor.finish())


def test_beside_a_monitor_every_event_is_kept_as_the_review_has_it(night):
    store = recorded(night, 10.0)
    events = im.review(night.recording, im.Prescription(**PLAN)).events
    assert [stored.event for stored in store] == list(events)
    assert len(store) > 6
    whole = night.recording.ecg.segments[0].read(0, 60000)
    for stored in store:
        form = stored.waveforms["ecg"]
        first = form.first_sample
        assert np.array_equal(form.values, whole[first : first + len(form.values)], equal_nan=True)
        assert stored.complete == (stored.until_s <= 480.0)


@pytest.mark.parametrize("chunk_s", [480.0, 96.0, 2.4])
def test_equal_however_the_samples_are_cut(night, chunk_s):
    settings = {"most_events": 4, "before_s": 20.0}
    assert recorded(night, chunk_s, **settings).equals(recorded(night, 10.0, **settings))


def test_saved_and_resumed_in_the_middle_it_goes_on(night):
    assert recorded(night, 10.0, save_at=12).equals(recorded(night, 10.0))


def test_what_is_kept_and_what_was_overwritten_are_all_events(night):
    store = recorded(night, 10.0, most_events=3)
    count = len(im.review(night.recording, im.Prescription(**PLAN)).events)
    assert len(store) == 3
    assert store.overwritten_count == count - 3


def test_rates_that_are_no_mapping_are_told():
    with pytest.raises(ArgumentError, match=r"rates_hz is a list; pass the rates by channel"):
        Recorder([250.0])


def test_what_is_stored_is_one_short_line_each():
    """A terminal that shows a store is not flooded with samples."""
    recorder = Recorder(RATES, most_events=1)
    fed(recorder, 100.0, [went(1, 10.0, 20.0), went(2, 30.0, 40.0, end=50.0)])
    store = recorder.store
    assert repr(store) == (
        "EventStore(1 event; 1 overwritten, the oldest first: 1 of kind 'apnea' "
        "(onsets 10.0 to 10.0 s))"
    )
    assert repr(store[0]).startswith("StoredEvent(Event(2: apnea")
    assert len(repr(store[0])) < 160
    assert repr(store[0].waveforms["ecg"]).startswith("Waveform(")
    assert "samples at" in repr(store[0].waveforms["ecg"])
