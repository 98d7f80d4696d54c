"""A simulated night: the scenario's infant is laid out once, and rendered block by block."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from infantmon.errors import require_between
from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel
from infantmon.model.clock import Clock
from infantmon.model.recording import Recording
from infantmon.model.spans import Reason, Spans
from infantmon.simulate.breathing import BreathTrain, place_breaths
from infantmon.simulate.channels import EcgRender, ImpedanceRender, Render
from infantmon.simulate.faults import Disturbance, LooseElectrode, MissingSamples, Movement
from infantmon.simulate.heart import (
    Beats,
    Bradycardia,
    RateChange,
    Standstill,
    Tachycardia,
    place_beats,
)
from infantmon.simulate.pauses import Pause, ShallowBreathing, Sigh
from infantmon.simulate.scenario import Scenario
from infantmon.simulate.truth import Intervals, TruePauses, TrueRateChanges, Truth

MARGIN_S = 10.0  # breaths and beats are laid out this far beyond both ends
BLOCK_S = 60.0  # samples are always made in these blocks, so that any cutting gives the same


@dataclass(frozen=True, eq=False)
class Chunk:
    """Consecutive samples of both channels.

    Attributes
    ----------
    start_s, end_s : float
        The stretch, in seconds; samples with start <= time < end are in it.
    ecg, impedance : numpy.ndarray, shape (n,), (m,)
        Samples in mV and in ohm, each at its own rate; NaN where invalid.
    """

    start_s: float
    end_s: float
    ecg: Floats
    impedance: Floats


@dataclass(frozen=True, eq=False)
class SimulatedNight:
    """A simulated recording beside what is true of it.

    Attributes
    ----------
    recording : Recording
        Channels "ecg" (mV) and "impedance" (ohm).
    truth : Truth
        Beats, breaths, pauses, spans.
    scenario : Scenario
        What was asked for.
    seed : int
        Of the random numbers.
    """

    recording: Recording
    truth: Truth
    scenario: Scenario
    seed: int


class InventedInfant:
    """An infant made after a scenario; the same seed gives the same samples, bit for bit.

    Parameters
    ----------
    scenario : Scenario
        What happens.
    seed : int
        Of the random numbers, 0 or more.

    Notes
    -----
    Memory: the marks of the whole night (about 10 MB a day) and one block of samples.
    """

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.seed = int(require_between(seed, 0, 2**63, name="seed", unit="(whole number)"))
        self.scenario = scenario
        self.breaths, self.beats = _lay_out(scenario, self.seed)
        self._ecg = EcgRender(scenario, self.seed, self.beats, self.breaths)
        self._impedance = ImpedanceRender(scenario, self.seed, self.beats, self.breaths)

    @functools.cached_property
    def truth(self) -> Truth:
        """What is true of the night."""
        return _tell(self.scenario, self.beats, self.breaths)

    def chunks(self, chunk_s: float = 600.0) -> Iterator[Chunk]:
        """Yield the night in chunks; joined they equal the whole, however they are cut.

        Parameters
        ----------
        chunk_s : float
            Length of a chunk, in seconds; the last may be shorter.
        """
        step = require_between(chunk_s, 1e-3, 1e9, name="chunk_s", unit="s")
        ecg, impedance = _Reader(self._ecg), _Reader(self._impedance)
        for number in range(math.ceil(self.scenario.duration_s / step - 1e-9)):
            end = min((number + 1) * step, self.scenario.duration_s)
            yield Chunk(number * step, end, ecg.until(end), impedance.until(end))

    def night(self) -> SimulatedNight:
        """Return the whole night at once."""
        (chunk,) = self.chunks(self.scenario.duration_s)
        scenario = self.scenario
        channels = {
            "ecg": Channel(chunk.ecg, scenario.ecg_hz, "mV", name="ECG"),
            "impedance": Channel(chunk.impedance, scenario.impedance_hz, "ohm", name="Impedance"),
        }
        note = f"simulated, not a real infant (seed {self.seed})"
        recording = Recording(channels, name=scenario.name, notes=(note,))
        return SimulatedNight(recording, self.truth, scenario, self.seed)


def simulate_night(scenario: Scenario, seed: int) -> SimulatedNight:
    """Return a simulated recording and what is true of it.

    Parameters
    ----------
    scenario : Scenario
        What happens.
    seed : int
        Of the random numbers, 0 or more; the same seed gives the same samples, bit for bit.

    Notes
    -----
    All samples are held in memory; use `InventedInfant.chunks` for long nights.
    """
    return InventedInfant(scenario, seed).night()


class _Reader:
    """Hands out a channel's samples in order, made in blocks of fixed place and length."""

    def __init__(self, render: Render) -> None:
        self.render = render
        self.clock = Clock(render.rate_hz)
        self.block_ticks = max(round(BLOCK_S * render.rate_hz), 2)
        self.given = 0
        self.block, self.values = -1, np.empty(0)

    def until(self, end_s: float) -> Floats:
        end = self.clock.first_tick_from(end_s)
        parts = []
        while self.given < end:
            block = self.given // self.block_ticks
            if block != self.block:
                ticks = block * self.block_ticks + np.arange(self.block_ticks)
                self.block, self.values = block, self.render.block(self.clock.times_s(ticks), block)
            low = self.given - block * self.block_ticks
            high = min(end - block * self.block_ticks, self.block_ticks)
            parts.append(self.values[low:high])
            self.given += high - low
        return np.concatenate(parts) if parts else np.empty(0)


def _lay_out(scenario: Scenario, seed: int) -> tuple[BreathTrain, Beats]:
    pauses = scenario.of(Pause)
    first = min([0.0, *(pause.onset_s for pause in pauses)]) - MARGIN_S
    last = max([scenario.duration_s, *(pause.end_s for pause in pauses)]) + MARGIN_S
    resized: list[ShallowBreathing | Sigh] = [*scenario.of(ShallowBreathing), *scenario.of(Sigh)]
    breaths = place_breaths(scenario.breathing, pauses, resized, (first, last), seed)
    beats = place_beats(
        scenario.heart,
        scenario.rate_changes,
        scenario.of(Standstill),
        breaths.inspired,
        (first, last),
        seed,
    )
    return breaths, beats


def _tell(scenario: Scenario, beats: Beats, breaths: BreathTrain) -> Truth:
    inside = (breaths.peak_s >= 0.0) & (breaths.peak_s < scenario.duration_s)
    beat_s = beats.time_s
    changes = scenario.rate_changes
    loose = scenario.of(LooseElectrode)
    missing = scenario.of(MissingSamples)
    return Truth(
        duration_s=scenario.duration_s,
        beat_s=beat_s[(beat_s >= 0.0) & (beat_s < scenario.duration_s)],
        breath_s=breaths.peak_s[inside],
        breath_size_ohm=breaths.size_ohm[inside],
        pauses=_true_pauses(scenario.of(Pause), breaths),
        bradycardias=_true_changes([c for c in changes if isinstance(c, Bradycardia)]),
        tachycardias=_true_changes([c for c in changes if isinstance(c, Tachycardia)]),
        standstills=_around(scenario.of(Standstill), beat_s),
        ecg_lost=_spans(
            [(event, event.ecg.reason) for event in loose if event.ecg is not None]
            + [(event, Reason.NOT_FINITE) for event in missing if event.ecg]
        ),
        impedance_lost=_spans(
            [(event, event.impedance.reason) for event in loose if event.impedance is not None]
            + [(event, Reason.NOT_FINITE) for event in missing if event.impedance]
        ),
        movements=_spans([(event, Reason.MOVEMENT) for event in scenario.of(Movement)]),
    )


def _true_pauses(pauses: list[Pause], breaths: BreathTrain) -> TruePauses:
    rests = [breaths.rest_after(pause.onset_s) for pause in pauses]
    return TruePauses(
        np.array([pause.onset_s for pause in pauses], dtype=float),
        np.array([pause.end_s for pause in pauses], dtype=float),
        np.array([start for start, _ in rests], dtype=float),
        np.array([end for _, end in rests], dtype=float),
        np.array([pause.bradycardia is not None for pause in pauses], dtype=np.bool_),
    )


def _true_changes(changes: list[RateChange]) -> TrueRateChanges:
    names = ("start_s", "reached_s", "left_s", "end_s", "rate_bpm")
    return TrueRateChanges(
        *(np.array([getattr(change, name) for change in changes], dtype=float) for name in names)
    )


def _around(standstills: list[Standstill], beat_s: Floats) -> Intervals:
    start = np.array([standstill.start_s for standstill in standstills], dtype=float)
    after = np.clip(np.searchsorted(beat_s, start), 1, max(len(beat_s) - 1, 1))
    if not len(start):
        return Intervals(start, start)
    return Intervals(beat_s[after - 1], beat_s[after])


def _spans(found: list[tuple[Disturbance, Reason]]) -> Spans:
    found = sorted(found, key=lambda item: item[0].start_s)
    return Spans(
        np.array([event.start_s for event, _ in found], dtype=float),
        np.array([event.end_s for event, _ in found], dtype=float),
        np.array([int(reason) for _, reason in found], dtype=np.int64),
    )
