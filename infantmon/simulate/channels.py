"""From the infant to samples: what each channel of the recording shows in one block of time."""

from __future__ import annotations

import dataclasses
import functools
from abc import ABC, abstractmethod

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.simulate.ecg import EcgLead, EcgShape
from infantmon.simulate.ectopic import AxisChange, EctopicBeats
from infantmon.simulate.faults import (
    Clipping,
    Disturbance,
    Draw,
    LooseElectrode,
    MissingSamples,
)
from infantmon.simulate.layout import Layout
from infantmon.simulate.noise import Source, generator, knot_count, smooth_curve
from infantmon.simulate.scenario import EcgChannel, Scenario
from infantmon.simulate.shown import Place, Shown

SHOWN_KEY = 1_000_000  # keeps the numbers of what is shown apart from those of what is added


class Render(ABC):
    """Samples of one channel: the infant, what is added, what is shown instead, the converter."""

    rate_hz: float
    low: float
    high: float
    step: float
    white: float
    white_source: Source
    event_source: Source

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.seed = seed
        listed = list(enumerate(scenario.events))
        self.disturbances = [(i, e) for i, e in listed if isinstance(e, Disturbance)]

    @abstractmethod
    def clean(self, time_s: Floats) -> Floats:
        """Return what the infant gives at evenly spaced times."""

    @abstractmethod
    def added(self, event: Disturbance, time_s: Floats, draw: Draw) -> Floats:
        """Return what a disturbance adds."""

    @abstractmethod
    def shown(self, event: LooseElectrode) -> Shown | None:
        """Return what this channel shows while an electrode is loose; None for itself."""

    @abstractmethod
    def clipped(self, event: Clipping) -> tuple[float, float]:
        """Return the levels between which the amplifier clips this channel."""

    @abstractmethod
    def missing(self, event: MissingSamples) -> bool:
        """Tell whether missing samples concern this channel."""

    def block(self, time_s: Floats, number: int) -> Floats:
        """Return the samples of one block, by its times (s) and its number."""
        near = [
            (i, e) for i, e in self.disturbances if e.start_s <= time_s[-1] and e.gone_s > time_s[0]
        ]
        values = self.clean(time_s)
        for i, event in near:
            draw = functools.partial(generator, self.seed, self.event_source, i)
            values += self.added(event, time_s, draw)
        random = generator(self.seed, self.white_source, number)
        values += self.white * random.standard_normal(len(time_s))
        for i, event in near:
            if isinstance(event, Clipping):
                inside = event.covers(time_s)
                values[inside] = np.clip(values[inside], *self.clipped(event))
            self._show(event, i, number, time_s, values)
        if self.step > 0.0:
            values = np.round(values / self.step) * self.step
        values = np.clip(values, self.low, self.high)
        for _, event in near:
            if isinstance(event, MissingSamples) and self.missing(event):
                values[event.covers(time_s)] = np.nan
        return values

    def _show(
        self, event: Disturbance, i: int, number: int, time_s: Floats, values: Floats
    ) -> None:
        """Put what is shown instead into `values`."""
        shown = self.shown(event) if isinstance(event, LooseElectrode) else None
        if shown is None:
            return
        inside = event.covers(time_s)
        held = float(self.clean(event.start_s + np.array([0.0, 1.0 / self.rate_hz]))[0])
        random = generator(self.seed, self.event_source, i, SHOWN_KEY, number)
        values[inside] = shown.values(Place(time_s[inside], self.low, self.high, random, held))


class EcgRender(Render):
    """The first ECG lead, in mV."""

    white_source = Source.ECG_WHITE
    event_source = Source.EVENT_ECG
    wander_source = Source.ECG_WANDER
    knots_s = 1.6

    def __init__(self, scenario: Scenario, seed: int, layout: Layout) -> None:
        super().__init__(scenario, seed)
        lead, channel = self.part(scenario)
        self.rate_hz = scenario.ecg_hz * (1.0 + channel.clock_error)
        self.low, self.high = channel.low_mv, channel.high_mv
        self.step, self.white = channel.step_mv, channel.noise_mv
        self.shape = _shape(scenario, lead, layout)
        random = generator(seed, self.wander_source)
        count = knot_count(scenario.duration_s + 120.0, self.knots_s)
        self.wander = channel.wander_mv * random.standard_normal(count)

    def part(self, scenario: Scenario) -> tuple[EcgLead, EcgChannel]:
        """Return how the lead looks and what its amplifier adds."""
        return scenario.lead, scenario.ecg

    def clean(self, time_s: Floats) -> Floats:
        """Return beats on a wandering base line, in mV."""
        wander = smooth_curve(self.wander, self.knots_s, -self.knots_s, time_s)
        return self.shape.mv(time_s) + wander

    def added(self, event: Disturbance, time_s: Floats, draw: Draw) -> Floats:
        """Return what a disturbance adds, in mV."""
        return event.added_mv(time_s, draw)

    def shown(self, event: LooseElectrode) -> Shown | None:
        """Return what the ECG shows while an electrode is loose; None for itself."""
        return event.ecg

    def clipped(self, event: Clipping) -> tuple[float, float]:
        """Return the levels between which the amplifier clips the ECG, in mV."""
        return -event.mv, event.mv

    def missing(self, event: MissingSamples) -> bool:
        """Tell whether missing samples concern the ECG."""
        return event.ecg


class SecondEcgRender(EcgRender):
    """The second ECG lead, in mV: the same beats, with noise of its own."""

    white_source = Source.ECG2_WHITE
    event_source = Source.EVENT_ECG2
    wander_source = Source.ECG2_WANDER

    def part(self, scenario: Scenario) -> tuple[EcgLead, EcgChannel]:
        """Return how the lead looks and what its amplifier adds."""
        return scenario.lead2 or scenario.lead, scenario.ecg2

    def added(self, event: Disturbance, time_s: Floats, draw: Draw) -> Floats:
        """Return what a disturbance adds, in mV."""
        if isinstance(event, LooseElectrode):
            event = dataclasses.replace(event, ecg=event.ecg2)
        return event.added_mv(time_s, draw)

    def shown(self, event: LooseElectrode) -> Shown | None:
        """Return what the lead shows while an electrode is loose; None for itself."""
        return event.ecg2

    def missing(self, event: MissingSamples) -> bool:
        """Tell whether missing samples concern the lead."""
        return event.ecg2


class ImpedanceRender(Render):
    """The impedance, in ohm."""

    white_source = Source.IMPEDANCE_WHITE
    event_source = Source.EVENT_IMPEDANCE
    slow_knots_s = 25.0
    fast_knots_s = 4.0

    def __init__(self, scenario: Scenario, seed: int, layout: Layout) -> None:
        super().__init__(scenario, seed)
        channel = scenario.impedance
        self.rate_hz = scenario.impedance_hz * (1.0 + channel.clock_error)
        self.low, self.high = channel.low_ohm, channel.high_ohm
        self.step, self.white = channel.step_ohm, channel.noise_ohm
        self.base = channel.base_ohm
        self.beats, self.breaths = layout.beats, layout.breaths
        self.rebounds = [pause for pause in scenario.pauses if pause.rebound is not None]
        self.pulsation = scenario.pulsation
        self.usual_rr_s = 60.0 / scenario.heart.rate_bpm
        random = generator(seed, Source.IMPEDANCE_DRIFT)
        long = scenario.duration_s + 120.0
        count = knot_count(long, self.slow_knots_s), knot_count(long, self.fast_knots_s)
        self.slow = channel.drift_ohm * random.standard_normal(count[0])
        self.fast = 0.3 * channel.drift_ohm * random.standard_normal(count[1])

    def clean(self, time_s: Floats) -> Floats:
        """Return base, drift, breaths and pulsation, in ohm."""
        drift = smooth_curve(self.slow, self.slow_knots_s, -self.slow_knots_s, time_s)
        drift += smooth_curve(self.fast, self.fast_knots_s, -self.fast_knots_s, time_s)
        size = self.pulsation.share * self.breaths.usual_ohm
        # blood flowing in lowers the impedance
        beats = self.beats.near(float(time_s[0]) - 3.0, float(time_s[-1]))
        pulse = -size * self.pulsation.wave(time_s, beats, self.usual_rr_s)
        return self.base + drift + self.breaths.effort_ohm(time_s) + pulse + self._rebound(time_s)

    def _rebound(self, time_s: Floats) -> Floats:
        total = np.zeros(len(time_s))
        for pause in self.rebounds:
            if pause.onset_s <= time_s[-1] and pause.end_s > time_s[0] and pause.rebound:
                start, end = self.breaths.rest_after(pause.onset_s)
                total += self.breaths.usual_ohm * pause.rebound.level(time_s, start, end)
        return total

    def added(self, event: Disturbance, time_s: Floats, draw: Draw) -> Floats:
        """Return what a disturbance adds, in ohm."""
        return event.added_ohm(time_s, draw, self.breaths.usual_ohm)

    def shown(self, event: LooseElectrode) -> Shown | None:
        """Return what the impedance shows while an electrode is loose; None for itself."""
        return event.impedance

    def clipped(self, event: Clipping) -> tuple[float, float]:
        """Return the levels between which the amplifier clips the impedance, in ohm."""
        return event.low_ohm, event.high_ohm

    def missing(self, event: MissingSamples) -> bool:
        """Tell whether missing samples concern the impedance."""
        return event.impedance


def _shape(scenario: Scenario, lead: EcgLead, layout: Layout) -> EcgShape:
    beats = layout.beats
    runs = scenario.of(EctopicBeats)
    ectopic = [(layout.ectopic == number, run.lead(lead)) for number, run in enumerate(runs)]
    shape = EcgShape(lead, beats, layout.breaths.inspired(beats.time_s), ectopic)
    for change in scenario.of(AxisChange):
        shape.turn(*change.factors(beats.time_s))
    return shape
