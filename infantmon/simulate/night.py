"""A simulated night: the scenario's infant is laid out once, and rendered block by block."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from infantmon.errors import require_between, require_kind, require_whole
from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.model.channel import Channel
from infantmon.model.clock import Clock
from infantmon.model.recording import Recording
from infantmon.simulate.channels import EcgRender, ImpedanceRender, Render, SecondEcgRender
from infantmon.simulate.layout import lay_out
from infantmon.simulate.scenario import Scenario
from infantmon.simulate.telling import tell
from infantmon.simulate.truth import Truth

BLOCK_S = 60.0  # samples are always made in these blocks, so that any cutting gives the same


@dataclass(frozen=True, eq=False)
class Chunk:
    """Consecutive samples of all channels.

    Attributes
    ----------
    start_s, end_s : float
        The stretch, in seconds; samples with start <= time < end are in it.
    ecg, impedance : numpy.ndarray, shape (n,), (m,)
        Samples in mV and in ohm, each at its own rate; NaN where invalid.
    ecg2 : numpy.ndarray, shape (n,)
        Samples of the second lead in mV; none where there is no second lead.
    """

    start_s: float
    end_s: float
    ecg: Floats
    impedance: Floats
    ecg2: Floats = field(default_factory=NO_FLOATS.copy)


@dataclass(frozen=True, eq=False)
class SimulatedNight:
    """A simulated recording beside what is true of it.

    Attributes
    ----------
    recording : Recording
        Channels "ecg" (mV), "impedance" (ohm) and, with a second lead, "ecg2" (mV).
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

    def __repr__(self) -> str:
        return f"SimulatedNight(seed {self.seed}: {self.recording!r}, {self.truth!r})"


class InventedInfant:
    """An infant made after a scenario; the same seed gives the same samples, bit for bit.

    Parameters
    ----------
    scenario : Scenario
        What happens.
    seed : int
        Of the random numbers, 0 or more.

    Attributes
    ----------
    layout : Layout
        Where its breaths and beats are.
    breaths, beats : BreathTrain, Beats
        The same, apart.

    Raises
    ------
    ArgumentError
        If the seed is no whole number of 0 or more.

    Notes
    -----
    Memory: the marks of the whole night (about 40 MB a day) and one block of samples.
    """

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.seed = require_whole(seed, 0, 2**63, name="seed")
        called = "an infantmon.simulate.Scenario"
        self.scenario = require_kind(scenario, Scenario, name="scenario", called=called)
        self.layout = lay_out(scenario, self.seed)
        self.breaths, self.beats = self.layout.breaths, self.layout.beats
        self._renders: dict[str, Render] = {
            "ecg": EcgRender(scenario, self.seed, self.layout),
            "impedance": ImpedanceRender(scenario, self.seed, self.layout),
        }
        if scenario.lead2 is not None:
            self._renders["ecg2"] = SecondEcgRender(scenario, self.seed, self.layout)

    @functools.cached_property
    def truth(self) -> Truth:
        """What is true of the night."""
        return tell(self.scenario, self.layout)

    def chunks(self, chunk_s: float = 600.0) -> Iterator[Chunk]:
        """Yield the night in chunks; joined they equal the whole, however they are cut.

        Parameters
        ----------
        chunk_s : float
            Length of a chunk, in seconds; the last may be shorter.

        Raises
        ------
        ArgumentError
            If `chunk_s` is not above 0 s.
        """
        step = require_between(chunk_s, 1e-3, 1e9, name="chunk_s", unit="s")
        readers = {role: _Reader(render) for role, render in self._renders.items()}
        for number in range(math.ceil(self.scenario.duration_s / step - 1e-9)):
            end = min((number + 1) * step, self.scenario.duration_s)
            samples = {role: reader.until(end) for role, reader in readers.items()}
            yield Chunk(number * step, end, **samples)

    def night(self) -> SimulatedNight:
        """Return the whole night at once."""
        (chunk,) = self.chunks(self.scenario.duration_s)
        scenario = self.scenario
        channels = {
            "ecg": Channel(chunk.ecg, scenario.ecg_hz, "mV", name="ECG"),
            "impedance": Channel(chunk.impedance, scenario.impedance_hz, "ohm", name="Impedance"),
        }
        if scenario.lead2 is not None:
            channels["ecg2"] = Channel(chunk.ecg2, scenario.ecg_hz, "mV", name="ECG2")
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

    Returns
    -------
    SimulatedNight
        The recording, and what is true of it: every beat, breath and pause.

    Raises
    ------
    ArgumentError
        If this is no scenario, or the seed is no whole number of 0 or more.

    Notes
    -----
    All samples are held in memory; use `InventedInfant.chunks` for long nights.

    Examples
    --------
    >>> from infantmon.simulate.pauses import Pause
    >>> scenario = Scenario(60.0, ecg_hz=250.0, impedance_hz=62.5, events=(Pause(20.0, 15.0),))
    >>> night = simulate_night(scenario, seed=1)
    >>> night.truth.pauses.length_s
    array([15.])
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
