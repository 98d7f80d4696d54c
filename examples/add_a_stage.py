"""Adding a stage of your own, and putting it through the contract checks that come with infantmon.

The stage marks where the impedance begins to swing by more than a limit: a sigh, or a movement. It
is a toy; what matters is how little the contract asks for, and that the checks find what is wrong.
"""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from infantmon.errors import require_rate
from infantmon.model.arrays import as_samples
from infantmon.model.carried import record
from infantmon.model.clock import Clock
from infantmon.model.findings import Findings
from infantmon.simulate import Movement, Scenario, Sigh, simulate_night
from infantmon.stages.checks import CHECKS, SoloRunner, StageCase, check_equal_however_cut
from infantmon.stages.contract import Stage, settled_before


@record
@dataclass(frozen=True, slots=True)
class LargeSwingSettings:
    """Settings: frozen, and apart from the running state."""

    rate_hz: float
    limit_ohm: float
    span_s: float = 1.0

    def __post_init__(self):
        require_rate(self.rate_hz)


class LargeSwing(Stage):
    """Marks the sample at which the swing over the last `span_s` seconds reaches the limit."""

    settings_type = LargeSwingSettings
    carried = ("_tail", "_count", "_inside")  # all that goes from one push to the next

    def __init__(self, settings):
        super().__init__(settings)
        self.clock = Clock(settings.rate_hz)
        self._width = max(self.clock.ticks_in(settings.span_s), 2)
        self._tail = np.full(self._width - 1, np.nan)
        self._count = 0
        self._inside = False

    @property
    def latency_s(self):
        return 0.0  # a swing is known with the sample that completes it

    @property
    def settled_until_s(self):
        return settled_before(self.clock.time_s(self._count - 1), 0.0, ended=self._ended)

    def push(self, samples, *, last=False):
        self.begin_push(last=last)
        samples = as_samples(samples)
        times = self._times(samples) if len(samples) else np.empty(0)
        return Findings(times, times, settled_until_s=self.settled_until_s)

    def _times(self, samples):
        block = np.concatenate((self._tail, samples))
        windows = sliding_window_view(block, self._width)
        with np.errstate(invalid="ignore"):  # infinite samples: no swing, and no fault either
            inside = windows.max(axis=1) - windows.min(axis=1) >= self.settings.limit_ohm
        begins = inside & ~np.append(self._inside, inside[:-1])
        ticks = self._count + np.flatnonzero(begins)
        self._tail = block[-(self._width - 1) :].copy()
        self._count += len(samples)
        self._inside = bool(inside[-1])
        return self.clock.times_s(ticks)


scenario = Scenario(
    duration_s=60.0, ecg_hz=250.0, impedance_hz=62.5, events=(Sigh(20.0), Movement(40.0, 8.0))
)
impedance = simulate_night(scenario, seed=4).recording.impedance
samples = impedance.segments[0].values
settings = LargeSwingSettings(impedance.rate_hz, limit_ohm=2.5)
print("large swings at (s):", LargeSwing(settings).push(samples, last=True).time_s.round(2))

case = StageCase(
    name="large swing",
    start=lambda: SoloRunner(LargeSwing(settings)),
    inputs=lambda: {"samples": samples.copy()},
    rates_hz={"samples": impedance.rate_hz},
    broken_rate=lambda rate_hz: LargeSwing(LargeSwingSettings(rate_hz, limit_ohm=2.5)),
)
for check in CHECKS:
    check(case)
print(f"kept: all {len(CHECKS)} checks of the contract")


class Forgetful(LargeSwing):
    """The same with a classic mistake: it forgets the end of the chunk before."""

    def push(self, samples, *, last=False):
        self._tail[:] = np.nan
        return super().push(samples, last=last)


careless = StageCase(
    name="forgetful",
    start=lambda: SoloRunner(Forgetful(settings)),
    inputs=case.inputs,
    rates_hz=case.rates_hz,
    broken_rate=case.broken_rate,
)
try:
    check_equal_however_cut(careless)
except AssertionError as fault:
    print("the forgetful one is found out:", str(fault).splitlines()[0])
