"""Decisions on QRS candidates, against a loop over candidates that follows the rules in words."""

import math

import numpy as np
import pytest

from infantmon.dsp.qrs_candidates import Candidates
from infantmon.dsp.qrs_decisions import MEMORY, BeatDecider
from infantmon.dsp.qrs_rules import DecisionRules

RATE_HZ = 125.0


class SlowDecider:
    """One candidate after the other, with plain lists."""

    def __init__(self):
        self.rules = DecisionRules()
        self.beats, self.noises, self.cleans, self.intervals = [], [], [], []
        self.last = None
        self.passed = 0  # plain candidates since
        self.hidden = 0.0  # usual intervals filled by large candidates since
        self.unseen = []  # of each beat, whether others may be missing before it

    @staticmethod
    def median(values):
        return float(np.median(values[-MEMORY:])) if values else 0.0

    def decide(self, c):
        """Return whether one candidate (a dict) is a beat."""
        beat = self.is_beat(c)
        self.passed = 0 if beat else self.passed + self.plain(c)
        return beat

    def is_beat(self, c):
        r, beat, noise = self.rules, self.median(self.beats), self.median(self.noises)
        usual = self.median(self.intervals)
        since = c["place"] - self.last if self.last is not None else math.inf
        wait, high = c["next_place"] - c["place"], r.refractory_high_s * RATE_HZ
        refractory = r.refractory * (usual or 0.5 * RATE_HZ)
        refractory = min(max(refractory, r.refractory_low_s * RATE_HZ), high)
        if since < refractory:
            return False
        artefact = len(self.beats) < r.few and self.passed >= r.few_plain
        if self.beats and (since > r.forget_s * RATE_HZ or artefact):
            self.beats, self.cleans, self.intervals, self.passed = [], [], [], 0
            return self.is_beat(c)
        if self.tells_anew(c, since, beat, noise, usual):
            self.beats, self.cleans = [c["height"]] * r.learned, []
            return self.is_beat(c)
        followed = wait < high and c["next_height"] > r.foot * c["height"]
        followed |= wait < refractory and c["next_height"] > r.foot_soon * c["height"]
        own = c["height"] < r.foot_below * beat or c["next_height"] < r.foot_artefact * beat
        foot = followed and (own or not self.beats)
        if not foot and self.looks_like_a_beat(c, since, beat, noise, usual):
            clean = c["likeness"] > r.clean_likeness and c["between"] <= r.clean_between
            if clean and abs(since - usual) <= r.clean_irregular * usual:
                self.cleans.append(c["height"])
            if self.last is not None:
                self.intervals.append(since)
            enough = self.hidden > 0.0 and self.hidden >= 0.5 * (since - usual)
            self.unseen.append(enough and since > 1.8 * usual)
            self.hidden = 0.0
            self.beats.append(c["height"])
            self.last = c["place"]
            return True
        if self.may_hide(c, since, beat, usual):
            self.hidden += usual
        self.noises.append(c["height"])
        return False

    def may_hide(self, c, since, beat, usual):
        if len(self.cleans) >= self.rules.clean_least:
            beat = min(beat, self.median(self.cleans))
        if len(self.beats) < self.rules.learned or c["height"] <= 0.35 * beat:
            return False
        if since <= self.rules.small_gap * math.sqrt(min(usual, RATE_HZ) * RATE_HZ):
            return False
        near = c["next_place"] - c["place"] < self.rules.refractory_high_s * RATE_HZ
        return not (near and c["next_height"] > c["height"])

    def tells_anew(self, c, since, beat, noise, usual):
        r, height = self.rules, c["height"]
        late = len(self.beats) >= r.learned and since > r.late * usual
        if not late or height > r.late_whole * beat or height < c["largest"]:
            return False
        fits = c["likeness"] > r.anew_likeness and c["depth"] > r.anew_depth
        return fits and height > max(r.anew_height * beat, r.anew_over_noise * noise)

    def looks_like_a_beat(self, c, since, beat, noise, usual):
        low = not self.cleans or c["height"] < self.rules.t_wave_below * self.median(self.cleans)
        over = self.rules.small_gap * math.sqrt(min(usual, RATE_HZ) * RATE_HZ)
        clear = c["height"] > self.rules.small_over_noise * noise
        clear = clear and c["depth"] > self.rules.small_depth
        clear = clear and c["between"] <= self.rules.small_between
        no_t_wave = usual > 0.0 and since > over and clear
        if c["blunt"] and low and since <= self.rules.t_wave_s * RATE_HZ and not no_t_wave:
            return False
        if len(self.beats) < self.rules.learned:
            return self.plain(c)
        if since > self.rules.late * usual and not self.ends_a_pause(c, beat, noise):
            return False
        ahead = c["next_large"] - c["place"]
        inserted = ahead > 0 and usual > 0.0
        inserted = inserted and abs(since + ahead - usual) <= self.rules.inserted * usual
        return (
            self.stands_out(c, since, beat, noise, usual, inserted)
            or self.small(c, since, beat, noise, usual, inserted)
            or self.local(c, usual)
        )

    def ends_a_pause(self, c, beat, noise):
        r, height = self.rules, c["height"]
        if height > r.late_whole * beat or c["likeness"] > r.late_likeness:
            return True
        likeness, depth, over_noise = r.late_fair
        if c["likeness"] > likeness and c["depth"] > depth and height > over_noise * noise:
            return True
        return height > r.late_height * beat and height > r.late_over_noise * noise

    def plain(self, c):
        r, like, depth, between = self.rules, c["likeness"], c["depth"], c["between"]
        if c["height"] < r.plain_rank * c["largest"] or depth <= r.plain_depth:
            return False
        if like > r.plain_likeness:
            return True
        if c["equal"] == 1 and (between == 0 or (between == 1 and depth > r.plain_clear[0])):
            return True
        if between == 0 and depth > r.plain_clear[0] and like > r.plain_clear[1]:
            return True
        return between <= 1 and depth > r.plain_fair[0] and like > r.plain_fair[1]

    def stands_out(self, c, since, beat, noise, usual, inserted):
        r = self.rules
        rise = r.rise + r.rise_between * c["between"]
        if usual > 0.0:
            rise += r.rise_early * max(0.0, 1.0 - since / (r.early_until * usual))
        rise = min(rise + r.rise_inserted * inserted, r.rise_most)
        if inserted and c["likeness"] < r.odd_likeness:
            rise += r.rise_odd
        if abs(since - usual) < r.due * usual and c["likeness"] > r.due_likeness:
            rise += r.rise_due
        if len(self.cleans) >= r.clean_least:
            beat = min(beat, r.clean_cap * self.median(self.cleans))
        noise = min(noise, r.noise_cap * beat)
        return c["height"] > noise + rise * (beat - noise)

    def small(self, c, since, beat, noise, usual, inserted):
        r = self.rules
        if inserted and not (
            c["height"] > r.second_over_noise * noise and c["depth"] > r.second_depth
        ):
            return False
        gap = r.small_gap * math.sqrt(min(usual, RATE_HZ) * RATE_HZ)
        after_t = since > gap and not 0 < c["next_large"] - c["place"] <= gap
        clear = c["depth"] > r.small_depth and c["between"] <= r.small_between
        high = c["height"] > max(r.small * beat, r.small_over_noise * noise)
        return after_t and clear and high and c["height"] >= r.small_rank * c["largest"]

    def local(self, c, usual):
        r = self.rules
        depth = r.fast_depth if 0.0 < usual <= r.fast_s * RATE_HZ else r.local_depth
        alike = c["likeness"] > r.local_likeness and c["depth"] > depth
        high = c["height"] >= r.local_rank * c["largest"]
        high = high and c["height"] > r.local_floor * self.median(self.cleans or self.beats)
        return alike and high and c["between"] <= r.local_between


def drawn(seed, count=3000):
    """Candidates of every kind: steady beats, noise, changes of gain and rate, long pauses."""
    draw = np.random.default_rng(seed)
    gaps = draw.integers(11, 45, count)
    gaps[draw.random(count) < 0.003] = 3000
    place = np.cumsum(gaps)
    gain = np.exp(np.cumsum(np.where(draw.random(count) < 0.01, draw.normal(0, 1.0, count), 0.0)))
    height = gain * np.where(
        np.arange(count) % 2, draw.normal(1.0, 0.1, count), draw.exponential(0.2, count)
    )
    height = np.abs(height) + 1e-6
    likeness = np.where(draw.random(count) < 0.5, draw.uniform(0.8, 1.0, count), draw.random(count))
    large = np.where(draw.random(count) < 0.7, place + draw.integers(11, 90, count), place)
    return Candidates(
        place=place,
        height=height,
        next_place=np.append(place[1:], place[-1] + 10_000),
        next_height=np.append(height[1:], 0.0),
        next_large=large,
        largest=height * np.where(draw.random(count) < 0.5, 1.0, draw.uniform(1.0, 8.0, count)),
        between=draw.integers(0, 5, count),
        equal=draw.integers(1, 4, count),
        depth=draw.uniform(0.3, 1.0, count),
        likeness=likeness,
        blunt=draw.random(count) < 0.2,
    )


@pytest.mark.parametrize("seed", range(6))
def test_equals_its_slow_twin_however_cut(seed):
    found = drawn(seed)
    slow = SlowDecider()
    names = vars(found)
    wanted = [
        k for k in range(len(found)) if slow.decide({n: getattr(found, n)[k].item() for n in names})
    ]
    assert 200 < len(wanted) < 2500
    assert any(slow.unseen) or seed == 2  # there no interval hides any
    for size in (1, 2, 7, 100, 5000):
        decider, beats, unseen = BeatDecider(RATE_HZ), [], []
        for start in range(0, len(found) if size > 1 else 400, size):
            taken, before = decider.push(found.part(start, start + size))
            beats += (start + taken).tolist()
            unseen += before.tolist()
        assert beats == [k for k in wanted if k < (len(found) if size > 1 else 400)]
        assert unseen == slow.unseen[: len(beats)]
