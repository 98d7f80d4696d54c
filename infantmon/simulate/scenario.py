"""A scenario: everything that is asked of an invented infant, and checked before it is made."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from infantmon.errors import (
    ArgumentError,
    as_floats,
    require_between,
    require_each,
    require_kind,
    require_rate,
    require_text,
)
from infantmon.model.arrays import Floats
from infantmon.simulate.breathing import Breathing
from infantmon.simulate.ecg import EcgLead
from infantmon.simulate.ectopic import AxisChange, EctopicBeats
from infantmon.simulate.faults import Disturbance
from infantmon.simulate.heart import Bradycardia, Heart, RateChange, Standstill, Tachycardia
from infantmon.simulate.obstruction import MixedApnea, Obstruction, ObstructiveApnea
from infantmon.simulate.pauses import (
    BreathingRate,
    Pause,
    ShallowBreathing,
    Sigh,
    require_apart,
    require_rates_apart,
)
from infantmon.simulate.pulsation import Pulsation, PulsationByPhase

Event = (
    Pause
    | ObstructiveApnea
    | MixedApnea
    | ShallowBreathing
    | BreathingRate
    | Sigh
    | RateChange
    | Standstill
    | EctopicBeats
    | AxisChange
    | Disturbance
)
_E = TypeVar("_E", bound=Event)


_PARTS = {
    "heart": Heart,
    "breathing": Breathing,
    "lead": EcgLead,
    "lead2": EcgLead,
    "pulsation": Pulsation,
}


def _require_range(low: float, high: float, *, unit: str) -> None:
    """Refuse a converter range whose ends are not finite and in order."""
    low = require_between(low, -1e9, 1e9, name="low", unit=unit)
    if require_between(high, -1e9, 1e9, name="high", unit=unit) <= low:
        raise ArgumentError(
            f"the range is {low:g} to {high:g} {unit}; the upper end must be above the lower."
        )


@dataclass(frozen=True)
class EcgChannel:
    """What the ECG's amplifier adds.

    Parameters
    ----------
    noise_mv, wander_mv : float
        Standard deviation of the white noise and of the slow wandering, in mV.
    step_mv : float
        Size of a step of the converter, in mV; 0 for none.
    low_mv, high_mv : float
        Range of the converter, in mV.
    clock_error : float
        By what share the converter is faster than the rate it states: 0.0014 is 0.14 %.
    """

    noise_mv: float = 0.008
    wander_mv: float = 0.03
    step_mv: float = 0.0
    low_mv: float = -5.0
    high_mv: float = 5.0
    clock_error: float = 0.0

    def __post_init__(self) -> None:
        as_floats(self)
        for name in ("noise_mv", "wander_mv", "step_mv"):
            require_between(getattr(self, name), 0.0, 100.0, name=name, unit="mV")
        require_between(self.clock_error, -0.05, 0.05, name="clock_error", unit="of the rate")
        _require_range(self.low_mv, self.high_mv, unit="mV")


@dataclass(frozen=True)
class ImpedanceChannel:
    """The chest between the electrodes, and what the amplifier adds.

    Parameters
    ----------
    base_ohm : float
        Impedance at rest, in ohm. About 200 to 1500 with skin and two electrodes: from memory.
    drift_ohm : float
        Standard deviation of its slow drift, in ohm.
    noise_ohm : float
        Standard deviation of the white noise, in ohm.
    step_ohm : float
        Size of a step of the converter, in ohm; 0 for none.
    low_ohm, high_ohm : float
        Range of the converter, in ohm.
    clock_error : float
        By what share the converter is faster than the rate it states: 0.0014 is 0.14 %.
    """

    base_ohm: float = 500.0
    drift_ohm: float = 0.15
    noise_ohm: float = 0.01
    step_ohm: float = 0.0
    low_ohm: float = 0.0
    high_ohm: float = 2000.0
    clock_error: float = 0.0

    def __post_init__(self) -> None:
        as_floats(self)
        _require_range(self.low_ohm, self.high_ohm, unit="ohm")
        require_between(self.base_ohm, self.low_ohm, self.high_ohm, name="base_ohm", unit="ohm")
        for name in ("drift_ohm", "noise_ohm", "step_ohm"):
            require_between(getattr(self, name), 0.0, 1000.0, name=name, unit="ohm")
        require_between(self.clock_error, -0.05, 0.05, name="clock_error", unit="of the rate")


@dataclass(frozen=True)
class Scenario:
    """Everything that is asked of an invented infant.

    Parameters
    ----------
    duration_s : float
        Length of the night, in seconds.
    ecg_hz, impedance_hz : float
        Sampling rates, in Hz.
    heart : Heart
        How the heart beats when nothing happens.
    breathing : Breathing
        How the infant breathes when nothing happens.
    lead : EcgLead
        How the ECG looks.
    pulsation : Pulsation
        What a heart beat does to the impedance.
    ecg : EcgChannel
        What the ECG's amplifier adds.
    impedance : ImpedanceChannel
        The chest, and what the impedance's amplifier adds.
    events : tuple
        What happens: `Pause`, `ObstructiveApnea`, `MixedApnea`, `ShallowBreathing`, `Sigh`,
        `BreathingRate`, `RateChange`, `Bradycardia`, `Tachycardia`, `Standstill`, `EctopicBeats`,
        `AxisChange`, and the disturbances `LooseElectrode`, `Movement`, `MuscleNoise`, `Mains`,
        `LevelStep`, `Clipping`, `MissingSamples`; in any order.
    name : str
        What to call the infant; invented.
    lead2 : EcgLead or None
        How a second ECG lead looks, if there is one; it is sampled like the first.
    ecg2 : EcgChannel
        What the second lead's amplifier adds.

    Raises
    ------
    ArgumentError
        If a number is out of its range, pauses overlap, a bradycardia would be no slowing or a
        tachycardia no racing, or an event is of another kind.
    """

    duration_s: float
    ecg_hz: float
    impedance_hz: float
    heart: Heart = Heart()
    breathing: Breathing = Breathing()
    lead: EcgLead = EcgLead()
    pulsation: Pulsation = PulsationByPhase()
    ecg: EcgChannel = EcgChannel()
    impedance: ImpedanceChannel = ImpedanceChannel()
    events: tuple[Event, ...] = field(default=())
    name: str = "invented infant"
    lead2: EcgLead | None = None
    ecg2: EcgChannel = EcgChannel()

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.duration_s, 1.0, 31 * 86400.0, name="duration_s", unit="s")
        require_rate(self.ecg_hz, name="ecg_hz", lowest_hz=20.0)
        require_rate(self.impedance_hz, name="impedance_hz", lowest_hz=5.0)
        for name, kind in _PARTS.items():
            part = getattr(self, name)
            if not (name == "lead2" and part is None):
                require_kind(part, kind, name=name, called=f"an infantmon.simulate.{kind.__name__}")
        called = "pauses, rate changes or disturbances from infantmon.simulate"
        events: tuple[Event, ...] = require_each(
            self.events,
            Event,  # type: ignore[arg-type]  # a union, which isinstance takes
            name="events",
            called=called,
        )
        object.__setattr__(self, "events", events)
        require_text(self.name, name="name")
        require_apart(self.pauses, self.breathing.cycle_s)
        require_rates_apart(self.of(BreathingRate))
        self._require_directions()

    @property
    def pauses(self) -> list[Pause]:
        """All pauses without effort, those of mixed apneas too, in order of time."""
        of_mixed = [mixed.pause for mixed in self.obstructions if mixed.pause is not None]
        return sorted([*self.of(Pause), *of_mixed], key=lambda pause: pause.onset_s)

    @property
    def obstructions(self) -> list[Obstruction]:
        """All apneas with effort but no flow, in order of time."""
        found: list[Obstruction] = [*self.of(ObstructiveApnea), *self.of(MixedApnea)]
        return sorted(found, key=lambda apnea: apnea.onset_s)

    def recorded_s(self, role: str, time_s: Floats) -> Floats:
        """Return where true times stand on a channel's own clock, both in seconds.

        Parameters
        ----------
        role : str
            "ecg", "ecg2" or "impedance".
        time_s : numpy.ndarray, shape (n,)
            True times, in seconds.
        """
        errors = {
            "ecg": self.ecg.clock_error,
            "ecg2": self.ecg2.clock_error,
            "impedance": self.impedance.clock_error,
        }
        return np.asarray(time_s * (1.0 + errors[role]))

    def of(self, kind: type[_E]) -> list[_E]:
        """Return the events of a kind, in order of time."""
        found = [event for event in self.events if isinstance(event, kind)]
        return sorted(found, key=lambda event: event.start_s)

    @property
    def rate_changes(self) -> list[RateChange]:
        """All changes of heart rate, those in pauses too, in order of time."""
        in_pauses = [
            pause.bradycardia.change(pause.onset_s, pause.length_s)
            for pause in self.of(Pause)
            if pause.bradycardia is not None
        ]
        found = [apnea.slowing for apnea in self.obstructions]
        in_apneas = [change for change in found if change is not None]
        changes = [*self.of(RateChange), *in_pauses, *in_apneas]
        return sorted(changes, key=lambda change: change.start_s)

    def _require_directions(self) -> None:
        usual = self.heart.rate_bpm
        for change in self.rate_changes:
            slows = isinstance(change, Bradycardia) and change.rate_bpm >= usual
            races = isinstance(change, Tachycardia) and change.rate_bpm <= usual
            if slows or races:
                word = "below" if slows else "above"
                raise ArgumentError(
                    f"the {type(change).__name__.lower()} at {change.start_s:g} s goes to "
                    f"{change.rate_bpm:g} a minute; it must be {word} the usual rate "
                    f"({usual:g} a minute)."
                )
