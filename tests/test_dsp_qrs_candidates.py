"""QRS candidates and what surrounds them, against a loop over candidates."""

from itertools import pairwise

import numpy as np
import pytest
from r_peak_inputs import cut_in

from infantmon.dsp.qrs_candidates import CandidateFinder

RATE_HZ = 125.0
RADIUS, SIGHT, VALLEY, WING = 10, 94, 25, 12  # 0.08, 0.75, 0.2 and 0.1 s
EDGE, LAG = 6, 7  # 0.05 s; the lag is any


def drawn(seed, length=3000, often=0.02):
    """A band-passed signal of bursts and noise, and its envelope; its cube is the signal itself."""
    draw = np.random.default_rng(seed)
    size = 0.1 + (draw.random(length) < often).astype(float)
    loud = np.convolve(size, np.hanning(13), mode="same")
    band = loud * np.sin(0.75 * np.arange(length) + np.cumsum(0.05 * draw.standard_normal(length)))
    padded = np.concatenate((np.zeros(5), np.abs(band), np.zeros(5)))
    envelope = np.convolve(padded, np.full(11, 1 / 11), mode="valid")
    return band, envelope


def held(values, start, stop):
    return [values[min(max(k, 0), len(values) - 1)] for k in range(start, stop)]


def correlation(left, right):
    norm = np.linalg.norm(left) * np.linalg.norm(right)
    return float(np.dot(left, right) / norm) if norm > 0.0 else 0.0


def alike(band, place, other, reach=2):
    shape = held(band, other - WING, other + WING + 1)
    shifts = [
        correlation(held(band, place + lag - WING, place + lag + WING + 1), shape)
        for lag in range(-reach, reach + 1)
    ]
    return max(0.0, *shifts)


def likeness(band, place, earlier, partner):
    """The likeness of a prominent candidate to those before it and the large one after it."""
    unshifted = sorted(alike(band, place, p, reach=0) for p in earlier)
    if len(earlier) == 4 and unshifted[-2] >= 0.95:
        return unshifted[-2]
    before = sorted(alike(band, place, p) for p in earlier)
    full = len(before) == 4 and before[0] > 0.0
    best = before[-2] if full else before[-1] if before else 0.0
    return max(best, alike(band, place, partner) if partner > place else 0.0)


def steepest(means, place):
    near = held(means, place - LAG - EDGE, place - LAG + EDGE + 2)
    return max(abs(b - a) for a, b in pairwise(near))


def is_blunt(means, envelope, places, place):
    """Is a larger and much steeper candidate where the QRS complex of a T wave would be?"""
    return any(
        0.1 * RATE_HZ <= place - p <= 0.36 * RATE_HZ
        and 0.85 * envelope[p] >= envelope[place]
        and 0.33 * steepest(means, p) >= steepest(means, place)
        for p in places
    )


def slow_twin(means, band, envelope):
    """Each candidate as a dict, one after the other."""
    places = [
        k
        for k, e in enumerate(envelope)
        if e > max([0.0, *envelope[max(0, k - RADIUS) : k]])
        and e >= max([0.0, *envelope[k + 1 : k + 1 + RADIUS]])
    ]
    kept, kept_at, found = [], 0, []
    for place in places:
        height = envelope[place]
        seen = [p for p in places if abs(p - place) <= SIGHT]
        largest = max(envelope[p] for p in seen)
        large = [p for p in seen if envelope[p] >= 0.7 * largest]
        later = [p for p in large if p > place]
        partner = later[0] if later else place
        walls = [
            min(held(envelope, place - VALLEY, place + 1)),
            min(held(envelope, place, place + VALLEY + 1)),
        ]
        like = 0.0
        if height >= 0.5 * largest:
            like = likeness(band, place, kept[-4:], partner)
            second = sorted([0.0] * 4 + [envelope[p] for p in kept[-4:]])[-2]
            between = sum(envelope[p] > 0.3 * largest for p in seen) - len(large)
            clear = 1.0 - max(walls) / height > 0.75 and between <= 1
            small = height < 0.3 * second and not clear
            if not small or place - kept_at > 20.0 * RATE_HZ:
                kept.append(place)
            kept_at = kept_at if small else place
        found.append(
            {
                "place": place,
                "height": height,
                "next_large": partner,
                "largest": largest,
                "between": sum(envelope[p] > 0.3 * largest for p in seen) - len(large),
                "equal": len(large),
                "depth": 1.0 - max(walls) / height,
                "likeness": like,
                "blunt": is_blunt(means, envelope, places, place),
            }
        )
    return found


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("often", [0.02, 0.0005])
@pytest.mark.parametrize("size", [1, 40, 9000])
def test_equals_its_slow_twin_however_cut(seed, size, often):
    band, envelope = drawn(seed, 3000 if often > 0.01 else 9000, often)
    finder = CandidateFinder(RATE_HZ, LAG)
    parts = []
    for some, above in zip(
        cut_in(band, range(size, len(band), size)),
        cut_in(envelope, range(size, len(band), size)),
        strict=True,
    ):
        finder.push(some**3, some, above)
        parts.append(finder.settled())
        reached = parts[-1].place[-1:] + finder.ahead
        assert np.all(reached < finder._envelope.end)
    finder.push(band[:0], band[:0], envelope[:0], last=True)
    parts.append(finder.settled(last=True))
    wanted = slow_twin(band**3, band, envelope)
    assert len(wanted) > 100
    assert any(w["blunt"] for w in wanted)
    for name in wanted[0]:
        column = np.concatenate([getattr(part, name) for part in parts])
        np.testing.assert_allclose(column, [w[name] for w in wanted], rtol=2e-6, atol=2e-6)


def test_a_candidate_is_given_as_soon_as_all_in_its_sight_is_in():
    band, envelope = drawn(1)
    finder = CandidateFinder(RATE_HZ, LAG)
    given = 0
    for k in range(len(band)):
        finder.push(band[k : k + 1], band[k : k + 1], envelope[k : k + 1])
        found = finder.settled()
        given += len(found)
        assert np.all(found.place + finder.ahead == k)
        assert finder.pending_from >= k + 1 - finder.ahead
    assert given > 100
