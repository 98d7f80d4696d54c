"""Two invented weeks of one invented infant: excerpts that a recorder kept, with their truth.

The mix is that of a published series: of 14,131 recorded events 8 % were real, 23 % misdetected and
69 % movement or a loose lead; of the real ones 70 % apnea and 30 % bradycardia (Weese-Mayer et al.,
J Pediatr 1989;115:702).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from infantmon.simulate.faults import LooseElectrode, Movement, MuscleNoise
from infantmon.simulate.heart import Bradycardia, Heart
from infantmon.simulate.noise import Source, generator
from infantmon.simulate.pauses import Pause, ShallowBreathing
from infantmon.simulate.scenario import Event, Scenario

REAL, MISDETECTED, ARTEFACT = "real", "misdetected", "artefact"
MIX = ((REAL, 5), (MISDETECTED, 14), (ARTEFACT, 41))
"""60 events: 8, 23 and 69 % of them, rounded to whole events."""
LEAD_S, LENGTH_S = 75.0, 150.0
DAYS = 14


@dataclass(frozen=True)
class Excerpt:
    """One recorded event with the signals around it, and what is true of it.

    Attributes
    ----------
    name : str
        Of the excerpt.
    day : int
        Day of the two weeks, from 1.
    truth, cause : str
        "real", "misdetected" or "artefact"; and what happens in it.
    kind : str
        What the recorder listed.
    onset_s, end_s : float
        As the recorder listed, in seconds of the excerpt.
    clear : bool
        Whether nothing disturbs the signals.
    scenario : Scenario
        The excerpt itself.
    """

    name: str
    day: int
    truth: str
    cause: str
    kind: str
    onset_s: float
    end_s: float
    clear: bool
    scenario: Scenario


def two_weeks(seed: int, *, ecg_hz: float = 250.0, impedance_hz: float = 62.5) -> list[Excerpt]:
    """Return the 60 excerpts of two invented weeks.

    Parameters
    ----------
    seed : int
        Of the random choices; the same seed gives the same excerpts.
    ecg_hz, impedance_hz : float
        Sampling rates, in Hz.
    """
    draw = generator(seed, Source.PLACING)
    truths = [truth for truth, count in MIX for _ in range(count)]
    days = np.sort(draw.integers(1, DAYS + 1, len(truths))).tolist()
    heart = Heart(rate_bpm=float(draw.uniform(128.0, 150.0)))
    found = []
    for number, (place, day) in enumerate(zip(draw.permutation(len(truths)), days, strict=True)):
        truth = truths[int(place)]
        cause, kind, events, length_s = _CASES[truth](draw)
        name = f"event{number + 1:02d}"
        clear = not any(isinstance(e, (Movement, LooseElectrode, MuscleNoise)) for e in events)
        scenario = Scenario(LENGTH_S, ecg_hz, impedance_hz, heart=heart, events=events, name=name)
        late_s = float(draw.uniform(-1.0, 1.0))
        onset_s = LEAD_S + late_s
        found.append(
            Excerpt(name, day, truth, cause, kind, onset_s, onset_s + length_s, clear, scenario)
        )
    return found


_Made = tuple[str, str, tuple[Event, ...], float]


def _real(draw: np.random.Generator) -> _Made:
    events: tuple[Event, ...]
    if draw.random() < 0.7:
        length_s = float(draw.uniform(21.0, 32.0))
        cause, kind = "apnea", "apnea"
        events = (Pause(LEAD_S, length_s),)
    else:
        rate, hold_s = float(draw.uniform(50.0, 68.0)), float(draw.uniform(9.0, 16.0))
        cause, kind, length_s = "bradycardia", "low heart rate", hold_s + 4.0
        events = (Bradycardia(LEAD_S - 1.0, rate, 3.0, hold_s, 4.0),)
    if draw.random() < 0.2:
        events = (*events, Movement(LEAD_S + length_s + 3.0, float(draw.uniform(4.0, 10.0))))
        cause += ", movement after it"
    return cause, kind, events, length_s


def _misdetected(draw: np.random.Generator) -> _Made:
    length_s = float(draw.uniform(20.0, 30.0))
    which = int(draw.integers(0, 3))
    if which == 0:
        share = float(draw.uniform(0.28, 0.5))
        shallow = (ShallowBreathing(LEAD_S, length_s + 4.0, share=share),)
        return "shallow breathing", "apnea", shallow, length_s
    if which == 1:
        short = (Pause(LEAD_S, float(draw.uniform(8.0, 17.0))),)
        return "a pause below the limit", "apnea", short, length_s
    return "beats missed by the recorder", "low heart rate", (), float(draw.uniform(6.0, 14.0))


def _artefact(draw: np.random.Generator) -> _Made:
    length_s = float(draw.uniform(20.0, 30.0))
    kind = "apnea" if draw.random() < 0.7 else "low heart rate"
    if draw.random() < 0.5:
        strong = float(draw.uniform(1.5, 5.0))
        return "movement", kind, (Movement(LEAD_S - 1.0, length_s + 2.0, breaths=strong),), length_s
    return "loose lead", kind, (LooseElectrode(LEAD_S - 1.0, length_s + 2.0),), length_s


_CASES = {REAL: _real, MISDETECTED: _misdetected, ARTEFACT: _artefact}
