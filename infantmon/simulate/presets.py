"""Scenarios that are asked for often."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from infantmon.errors import (
    ArgumentError,
    require_between,
    require_number,
    require_row,
    require_whole,
)
from infantmon.simulate.faults import LooseElectrode, Movement
from infantmon.simulate.heart import RateChange, SlowingInPause
from infantmon.simulate.noise import Source, generator
from infantmon.simulate.pauses import BreathingRate, Pause, ShallowBreathing, Sigh
from infantmon.simulate.scenario import Scenario


def demo_scenario(*, ecg_hz: float = 250.0, impedance_hz: float = 62.5) -> Scenario:
    """Return half an hour of an invented infant in which a little of everything happens.

    Parameters
    ----------
    ecg_hz, impedance_hz : float
        Sampling rates, in Hz.

    Notes
    -----
    Two apneas of more than 20 s, the second with a bradycardia; short pauses; a loose electrode;
    three movements; shallow breathing; sighs. The infant and its night are invented.
    """
    return Scenario(
        duration_s=1800.0,
        ecg_hz=ecg_hz,
        impedance_hz=impedance_hz,
        events=(
            Sigh(95.0),
            Pause(210.0, 8.0),
            Movement(330.0, 14.0),
            Pause(480.0, 23.0),
            Sigh(640.0),
            ShallowBreathing(700.0, 40.0, share=0.4),
            LooseElectrode(900.0, 45.0),
            Pause(1080.0, 11.0),
            Pause(1230.0, 27.0, bradycardia=SlowingInPause()),
            Movement(1262.0, 6.0, breaths=2.0),
            Sigh(1450.0),
            Movement(1560.0, 20.0),
        ),
        name="invented infant, half an hour",
    )


def periodic_breathing(
    start_s: float, *, pause_s: float, breathing_s: float, count: int
) -> tuple[Pause, ...]:
    """Return pauses that alternate with breathing.

    Parameters
    ----------
    start_s : float
        Onset of the first pause, in seconds.
    pause_s : float
        Length of each pause, mark to mark, in seconds.
    breathing_s : float
        From the end of a pause to the onset of the next, in seconds.
    count : int
        How many pauses.

    Raises
    ------
    ArgumentError
        If `count` is not 1 or more.
    """
    count = require_whole(count, 1, 100_000, name="count", unit="pauses")
    start_s = require_number(start_s, name="start_s", unit="s")
    every = require_between(pause_s, 0.1, 1e6, name="pause_s", unit="s")
    every += require_between(breathing_s, 0.0, 1e6, name="breathing_s", unit="s")
    return tuple(Pause(start_s + number * every, pause_s) for number in range(count))


def pauses_scenario(
    length_s: float,
    *,
    ecg_hz: float,
    impedance_hz: float,
    count: int = 29,
    every_s: float = 120.0,
    bradycardia: SlowingInPause | None = None,
    base: Scenario | None = None,
    seed: int = 0,
) -> Scenario:
    """Return a scenario of many pauses of one length, for measuring.

    Parameters
    ----------
    length_s : float
        Length of each pause, mark to mark, in seconds.
    ecg_hz, impedance_hz : float
        Sampling rates, in Hz.
    count : int
        How many.
    every_s : float
        Mean distance of their onsets, in seconds; 29 at 120 s fill about an hour.
    bradycardia : SlowingInPause or None
        How the heart slows in each, if it does.
    base : Scenario or None
        Where heart, breathing, pulsation and channels are taken from, and events that are added.
    seed : int
        For the places of the onsets.

    Raises
    ------
    ArgumentError
        If the pauses would not leave 15 s of breathing between them.
    """
    count = require_whole(count, 1, 100_000, name="count", unit="pauses")
    length_s = require_between(length_s, 0.1, 1e6, name="length_s", unit="s")
    every_s = require_between(every_s, 0.1, 1e6, name="every_s", unit="s")
    room = every_s - length_s - 15.0
    if room < 0.0:
        raise ArgumentError(
            f"pauses of {length_s:g} s every {every_s:g} s leave less than 15 s of breathing; "
            "raise every_s."
        )
    jitter = room * generator(seed, Source.PLACING).random(count)
    onsets = 30.0 + every_s * np.arange(count) + jitter
    pauses = tuple(Pause(float(onset), length_s, bradycardia) for onset in onsets)
    plain = Scenario(60.0, ecg_hz, impedance_hz) if base is None else base
    return replace(
        plain,
        duration_s=60.0 + every_s * count,
        ecg_hz=ecg_hz,
        impedance_hz=impedance_hz,
        events=(*plain.events, *pauses),
        name=f"invented infant, {count} pauses of {length_s:g} s",
    )


def heart_rate_steps(
    rates_bpm: Sequence[float], *, hold_s: float, start_s: float = 0.0
) -> tuple[RateChange, ...]:
    """Return a heart rate that goes from step to step without a ramp.

    Parameters
    ----------
    rates_bpm : sequence of float
        The rates, in beats a minute.
    hold_s : float
        How long each lasts, in seconds.
    start_s : float
        When the first begins, in seconds.

    Raises
    ------
    ArgumentError
        If a rate or a time cannot be used.
    """
    rates, hold_s, start_s = _steps(rates_bpm, hold_s, start_s)
    return tuple(
        RateChange(start_s + number * hold_s, rate, ramp_s=0.0, hold_s=hold_s, return_s=0.0)
        for number, rate in enumerate(rates)
    )


def breathing_rate_steps(
    rates_per_min: Sequence[float], *, hold_s: float, start_s: float = 0.0
) -> tuple[BreathingRate, ...]:
    """Return a breathing rate that goes from step to step.

    Parameters
    ----------
    rates_per_min : sequence of float
        The rates, in breaths a minute.
    hold_s : float
        How long each lasts, in seconds.
    start_s : float
        When the first begins, in seconds.

    Raises
    ------
    ArgumentError
        If a rate or a time cannot be used.
    """
    rates, hold_s, start_s = _steps(rates_per_min, hold_s, start_s)
    return tuple(
        BreathingRate(start_s + number * hold_s, hold_s, rate) for number, rate in enumerate(rates)
    )


def _steps(
    rates: Sequence[float], hold_s: float, start_s: float
) -> tuple[tuple[float, ...], float, float]:
    """Return rates, how long each lasts and when the first begins, checked."""
    row = require_row(rates, name="the rates", called="numbers a minute")
    return (
        tuple(require_number(rate, name="a rate", unit="a minute") for rate in row),
        require_between(hold_s, 0.1, 1e6, name="hold_s", unit="s"),
        require_number(start_s, name="start_s", unit="s"),
    )
