"""Where the breaths and beats of a night are: laid out once, before any sample is made."""

from __future__ import annotations

from dataclasses import dataclass

from infantmon.model.arrays import Ints
from infantmon.simulate.breathing import BreathTrain, Resizing, place_breaths
from infantmon.simulate.ectopic import EctopicBeats, made_early
from infantmon.simulate.heart import Beats, Standstill, place_beats
from infantmon.simulate.pauses import BreathingRate, ShallowBreathing, Sigh
from infantmon.simulate.scenario import Scenario

MARGIN_S = 10.0  # breaths and beats are laid out this far beyond both ends


@dataclass(frozen=True, eq=False)
class Layout:
    """The breaths and beats of a night.

    Attributes
    ----------
    breaths : BreathTrain
        All efforts, obstructed ones too.
    beats : Beats
        All beats, ectopic ones too.
    ectopic : numpy.ndarray of int64, shape (n,)
        For each beat the number of the scenario's `EctopicBeats` that it belongs to, or -1.
    """

    breaths: BreathTrain
    beats: Beats
    ectopic: Ints


def lay_out(scenario: Scenario, seed: int) -> Layout:
    """Return where the breaths and beats of a scenario are."""
    pauses = scenario.pauses
    first = min([0.0, *(pause.onset_s for pause in pauses)]) - MARGIN_S
    last = max([scenario.duration_s, *(pause.end_s for pause in pauses)]) + MARGIN_S
    resized: list[Resizing] = [
        *scenario.of(ShallowBreathing),
        *scenario.of(Sigh),
        *scenario.obstructions,
    ]
    rates = scenario.of(BreathingRate)
    breaths = place_breaths(scenario.breathing, pauses, resized, (first, last), seed, rates)
    beats = place_beats(
        scenario.heart,
        scenario.rate_changes,
        scenario.of(Standstill),
        breaths.inspired,
        (first, last),
        seed,
    )
    beats, ectopic = made_early(beats, scenario.of(EctopicBeats), 60.0 / scenario.heart.rate_bpm)
    return Layout(breaths, beats, ectopic)
