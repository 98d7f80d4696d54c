"""The contact detector beside its slow twin, however it is cut, and for hours."""

import pickle

import numpy as np
import pytest
from contact_inputs import breathing, run
from hypothesis import given, settings
from hypothesis import strategies as st
from slow_contact import slow_contact

from infantmon.model.spans import ContactMarks
from infantmon.stages.contact import ContactDetector, ContactSettings


def trouble(seed, seconds=60.0, rate_hz=25.0):
    """Return breathing with faults of every kind at random places, some coarse, some fine."""
    rng = np.random.default_rng(seed)
    x = breathing(seconds, rate_hz, seed=seed)
    for _ in range(rng.integers(1, 9)):
        at = int(rng.integers(0, len(x)))
        until = at + int(rng.choice([1, 5, 12, 13, 20, 26, 40, 140, 300]))
        x = FAULTS[rng.integers(0, len(FAULTS))](x, slice(at, until), rng)
    if rng.random() < 0.4:
        step = rng.choice([0.2, 0.01])
        x = step * np.round(x / step)
    return x


def _set(x, where, value):
    x = x.copy()
    x[where] = value
    return x


FAULTS = (
    lambda x, where, _: _set(x, where, np.nan),
    lambda x, where, _: _set(_set(x, where, np.inf), slice(where.start, where.stop, 3), 500.0),
    lambda x, where, _: _set(x, where, x[where.start]),
    lambda x, where, _: _set(x, where, 4000.0),
    lambda x, where, rng: _set(x, where, x[where] + 20.0 * rng.normal(size=len(x[where]))),
    lambda x, where, rng: np.append(x[: where.start], x[where.start :] + rng.choice([15, -420])),
    lambda x, _where, _: np.clip(x, 499.3, 500.6),
    lambda x, where, _: _set(x, where, np.clip(9 * x[where], 4497.0, 4503.0)),
    lambda x, where, _: _set(x, where, 500.0 + 10.0 * np.sin(np.arange(len(x[where])))),
)


def as_rows(marks, rate_hz):
    ticks = [np.rint(c * rate_hz).astype(int) for c in (marks.known_s, marks.time_s, marks.since_s)]
    columns = [*ticks, marks.reason, marks.usable, marks.bridged]
    return [tuple(row) for row in zip(*[c.tolist() for c in columns], strict=True)]


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("rate_hz", [25.0, 31.3])
def test_equals_the_slow_twin(seed, rate_hz):
    x = trouble(seed, rate_hz=rate_hz)
    if seed % 2:
        how = ContactSettings.for_impedance(rate_hz, unit="ohm")
    else:
        how = ContactSettings.for_ecg(rate_hz)
    assert as_rows(run(x, how), rate_hz) == slow_contact(x.tolist(), how)


@given(
    seed=st.integers(0, 10_000),
    cuts=st.lists(st.integers(0, 200), max_size=12),
    ecg=st.booleans(),
)
@settings(deadline=None, max_examples=60)
def test_equal_however_it_is_cut(seed, cuts, ecg):
    x = trouble(seed)
    how = ContactSettings.for_ecg(25.0) if ecg else ContactSettings.for_impedance(25.0, "ohm")
    assert run(x, how, cuts).equals(run(x, how))


@pytest.mark.parametrize("seed", range(8))
def test_one_sample_at_a_time_each_mark_comes_when_it_is_known(seed):
    x = trouble(seed + 100)
    how = ContactSettings.for_impedance(25.0, "ohm", start_s=7.0)
    detector = ContactDetector(how)
    parts = []
    for i, value in enumerate(x):
        if i == len(x) // 2:
            detector = ContactDetector.resume(detector.save())
        if i == len(x) // 3:
            detector = pickle.loads(pickle.dumps(detector))  # noqa: S301 - our own bytes
        marks = detector.push([value], last=i == len(x) - 1)
        assert (marks.known_s == how.clock.time_s(i)).all()
        assert (marks.time_s <= marks.known_s).all()
        assert (marks.known_s <= marks.time_s + detector.latency_s).all()
        parts.append(marks)
    assert ContactMarks.joined(parts).equals(run(x, how))


def test_hours_of_a_constant_take_linear_time_and_a_small_state():
    how = ContactSettings.for_impedance(50.0)
    detector = ContactDetector(how)
    count = 0
    for _ in range(24):
        count += len(detector.push(np.full(180_000, 3.0)))
    assert count == 1
    assert len(detector.save()) < 20_000
