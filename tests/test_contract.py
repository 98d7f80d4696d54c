"""Every stage keeps the contract: all pairs of stage and check, counted so that none opts out."""

import inspect
from functools import cache
from itertools import product

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import infantmon.stages
from infantmon.errors import ArgumentError
from infantmon.model.marks import RPeaks
from infantmon.simulate import Movement, Pause, Scenario, simulate_night
from infantmon.stages import checks
from infantmon.stages.apnea_probability import ApneaProbability, ApneaProbabilitySettings
from infantmon.stages.bandpass import (
    EcgBandPass,
    EcgBandPassSettings,
    ImpedanceBandPass,
    ImpedanceBandPassSettings,
)
from infantmon.stages.breathing_rate import BreathingRate, BreathingRateSettings
from infantmon.stages.breaths import BreathDetector, BreathSettings
from infantmon.stages.cardiac_artifact import CardiacArtifactRejector, CardiacArtifactSettings
from infantmon.stages.checks import CHECKS, SoloRunner, StageCase, outcomes
from infantmon.stages.contact import ContactDetector, ContactSettings
from infantmon.stages.contract import Stage
from infantmon.stages.heart_rate import HeartRate, HeartRateSettings
from infantmon.stages.lead_fusion import LeadFusion, LeadFusionSettings
from infantmon.stages.r_peaks import RPeakDetector, RPeakSettings

ECG_HZ, IMPEDANCE_HZ = 250.0, 62.5
SECOND_HZ = 200.0  # of a second lead


@cache
def scene(ecg_hz=ECG_HZ, impedance_hz=IMPEDANCE_HZ):
    """40 s of an invented infant with a pause, a movement, a flat stretch and missing samples."""
    events = (Pause(12.0, 6.0), Movement(28.0, 4.0))
    scenario = Scenario(duration_s=40.0, ecg_hz=ecg_hz, impedance_hz=impedance_hz, events=events)
    recording = simulate_night(scenario, seed=41).recording
    ecg = recording.ecg.segments[0].values.copy()
    impedance = recording.impedance.segments[0].values.copy()
    impedance[round(21 * impedance_hz) : round(27 * impedance_hz)] = impedance[0]
    ecg[round(21 * ecg_hz) : round(23 * ecg_hz)] = ecg[0]
    return ecg, impedance


def ecg_input():
    return {"samples": scene()[0].copy()}


def impedance_input():
    return {"samples": scene()[1].copy()}


class LedRunner:
    """Runs a stage that is led by the beats of an R-peak detector in front of it."""

    def __init__(self, stage):
        self.beats = RPeakDetector(RPeakSettings(ECG_HZ))
        self.stage = stage


class HeartRateRunner(LedRunner):
    def push(self, chunks, *, last):
        return outcomes(self.stage.push(self.beats.push(chunks["ecg"], last=last), last=last))


class BreathingRateRunner:
    def __init__(self):
        self.breaths = breath_stage(31.25)
        lag_s = self.breaths.latency_s
        self.stage = BreathingRate(BreathingRateSettings(average_breaths=4, breath_lag_s=lag_s))

    def push(self, chunks, *, last):
        breaths = self.breaths.push(chunks["samples"], last=last)
        return outcomes(self.stage.push(breaths, last=last))


class ProbabilityRunner(LedRunner):
    """The second opinion on apnea, led by beats, each channel cut as it comes."""

    def __init__(self):
        super().__init__(
            ApneaProbability(ApneaProbabilitySettings(IMPEDANCE_HZ, beat_lag_s=beat_lag_s()))
        )

    def push(self, chunks, *, last):
        beats = self.beats.push(chunks["ecg"], last=last)
        return outcomes(self.stage.push(chunks["impedance"], beats, last=last))


class TwoLeadRunner:
    """R peaks of two leads, each cut as it comes, and their fusion."""

    def __init__(self):
        self.leads = {"ecg": RPeakDetector(RPeakSettings(ECG_HZ))}
        self.leads["ecg2"] = RPeakDetector(RPeakSettings(SECOND_HZ))
        lags_s = [lead.latency_s for lead in self.leads.values()]
        self.stage = LeadFusion(LeadFusionSettings(ECG_HZ, *lags_s))
        self.pushed = dict.fromkeys(self.leads, 0)

    def push(self, chunks, *, last):
        for name, values in chunks.items():
            self.pushed[name] += len(values)
        beats = [lead.push(chunks[name], last=last) for name, lead in self.leads.items()]
        ends_s = [(self.pushed[n] - 1) / r for n, r in (("ecg", ECG_HZ), ("ecg2", SECOND_HZ))]
        end_s = max(ends_s) if last else np.inf
        return outcomes(self.stage.push(*beats, last=last, end_s=end_s))


def two_leads():
    """The scene's lead, and another of the same heart with a fault elsewhere."""
    first, other = scene()[0].copy(), scene(ecg_hz=SECOND_HZ)[0].copy()
    other[round(8 * SECOND_HZ) : round(11 * SECOND_HZ)] = 0.0
    return {"ecg": first, "ecg2": other}


class RejectorRunner(LedRunner):
    """Band-pass, R peaks and the rejector, each channel cut as it comes."""

    def __init__(self):
        self.band = ImpedanceBandPass(ImpedanceBandPassSettings(IMPEDANCE_HZ))
        clock = self.band.clock
        lag_s = RPeakDetector(RPeakSettings(ECG_HZ)).latency_s
        stage = CardiacArtifactRejector(
            CardiacArtifactSettings(
                clock.rate_hz, clock.start_s, self.band.latency_s, beat_lag_s=lag_s
            )
        )
        super().__init__(stage)

    def push(self, chunks, *, last):
        beats = self.beats.push(chunks["ecg"], last=last)
        passed = self.band.push(chunks["impedance"], last=last)
        return outcomes(self.stage.push(passed.values, beats, last=last))


def both_inputs():
    ecg, impedance = scene()
    return {"ecg": ecg.copy(), "impedance": impedance.copy()}


def solo(name, stage_of_rate, rate_hz, inputs):
    return StageCase(
        name,
        lambda: SoloRunner(stage_of_rate(rate_hz)),
        inputs,
        {"samples": rate_hz},
        stage_of_rate,
    )


def breath_stage(rate_hz):
    return BreathDetector(BreathSettings(rate_hz, raw_rate_hz=rate_hz))


def beat_lag_s():
    return RPeakDetector(RPeakSettings(ECG_HZ)).latency_s


CASES = (
    solo("ECG band-pass", lambda r: EcgBandPass(EcgBandPassSettings(r)), ECG_HZ, ecg_input),
    solo(
        "impedance band-pass",
        lambda r: ImpedanceBandPass(ImpedanceBandPassSettings(r)),
        IMPEDANCE_HZ,
        impedance_input,
    ),
    solo("contact, ECG", lambda r: ContactDetector(ContactSettings.for_ecg(r)), ECG_HZ, ecg_input),
    solo(
        "contact, impedance",
        lambda r: ContactDetector(ContactSettings.for_impedance(r)),
        IMPEDANCE_HZ,
        impedance_input,
    ),
    solo("R peaks", lambda r: RPeakDetector(RPeakSettings(r)), ECG_HZ, ecg_input),
    solo(
        "R peaks, 500 Hz",
        lambda r: RPeakDetector(RPeakSettings(r)),
        500.0,
        lambda: {"samples": scene(ecg_hz=500.0)[0].copy()},
    ),
    StageCase(
        "heart rate",
        lambda: HeartRateRunner(
            HeartRate(HeartRateSettings(average_beats=8, beat_lag_s=beat_lag_s()))
        ),
        lambda: {"ecg": scene()[0].copy()},
        {"ecg": ECG_HZ},
        RPeakSettings,
    ),
    StageCase(
        "heart rate over seconds",
        lambda: HeartRateRunner(
            HeartRate(HeartRateSettings(average_s=6.0, beat_lag_s=beat_lag_s()))
        ),
        lambda: {"ecg": scene()[0].copy()},
        {"ecg": ECG_HZ},
        RPeakSettings,
    ),
    StageCase(
        "probability of apnea, led by beats",
        ProbabilityRunner,
        both_inputs,
        {"ecg": ECG_HZ, "impedance": IMPEDANCE_HZ},
        lambda r: ApneaProbabilitySettings(r, beat_lag_s=1.0),
    ),
    solo(
        "probability of apnea, without beats",
        lambda r: ApneaProbability(ApneaProbabilitySettings(r, beat_lag_s=0.0, led_by_beats=False)),
        31.25,
        lambda: {"samples": scene(impedance_hz=31.25)[1].copy()},
    ),
    StageCase(
        "two leads fused",
        TwoLeadRunner,
        two_leads,
        {"ecg": ECG_HZ, "ecg2": SECOND_HZ},
        lambda r: LeadFusionSettings(r, first_lag_s=1.0, second_lag_s=1.0),
    ),
    StageCase(
        "cardiac artefact, led by beats",
        RejectorRunner,
        both_inputs,
        {"ecg": ECG_HZ, "impedance": IMPEDANCE_HZ},
        lambda r: CardiacArtifactSettings(r, beat_lag_s=1.0),
    ),
    solo(
        "cardiac artefact, without beats",
        lambda r: CardiacArtifactRejector(
            CardiacArtifactSettings(r, beat_lag_s=0.0, led_by_beats=False)
        ),
        31.25,
        lambda: {"samples": scene(impedance_hz=31.25)[1].copy()},
    ),
    solo(
        "breaths",
        breath_stage,
        31.25,
        lambda: {"samples": scene(impedance_hz=31.25)[1].copy()},
    ),
    StageCase(
        "rate of breathing",
        BreathingRateRunner,
        lambda: {"samples": scene(impedance_hz=31.25)[1].copy()},
        {"samples": 31.25},
        breath_stage,
    ),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__.removeprefix("check_"))
def test_contract(case, check):
    check(case)


def test_every_stage_and_every_check_takes_part():
    """A new stage, or a new check, that is not in the lists makes this fall short."""
    tested = {type(case.start().stage) for case in CASES}
    assert tested == all_stages(), "a stage is not under contract"
    written = {f for name, f in inspect.getmembers(checks) if name.startswith("check_")}
    assert set(CHECKS) == written, "a check is not in the list"
    assert len(list(product(CASES, CHECKS))) == 15 * 17


def test_a_stage_says_what_it_is_made_from():
    for stage in all_stages():
        with pytest.raises(ArgumentError, match=f"{stage.__name__} is made from .*Settings"):
            stage(250.0)


def all_stages():
    import importlib
    import pkgutil

    for module in pkgutil.iter_modules(infantmon.stages.__path__):
        importlib.import_module(f"infantmon.stages.{module.name}")
    found = Stage.__subclasses__()
    return {stage for stage in found if stage.__module__.startswith("infantmon.stages.")}


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
@settings(
    max_examples=8,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_any_cutting(case, data):
    """Empty chunks, single samples, cuts anywhere: equal to one push."""
    inputs = case.inputs()
    cuts = {
        name: data.draw(st.lists(st.integers(0, len(values)), max_size=12), label=name)
        for name, values in inputs.items()
    }
    whole = checks.run_whole(case, inputs)
    checks.require_equal(whole, checks.run_cut(case, inputs, cuts), "cut anywhere")


@pytest.mark.parametrize("other", [None, 250.0, BreathSettings(25.0), HeartRateSettings])
def test_settings_of_another_stage_are_refused(other):
    told = f"settings is a {type(other).__name__}; HeartRate is made from HeartRateSettings"
    with pytest.raises(ArgumentError, match=told):
        HeartRate(other)


class Forgetful(Stage):
    """A stage that breaks the contract: it looks at each chunk alone."""

    settings_type = HeartRateSettings
    latency_s = 0.0
    settled_until_s = np.inf

    def push(self, samples, *, last=False):
        self.begin_push(last=last)
        peaks = np.flatnonzero(samples == samples.max()) if len(samples) else np.empty(0, int)
        time_s = peaks / ECG_HZ
        return RPeaks(time_s, time_s, peaks.astype(np.int64), samples[peaks], peaks > 0)


def test_the_checks_catch_a_stage_that_forgets():
    case = StageCase(
        "forgetful",
        lambda: SoloRunner(Forgetful(HeartRateSettings())),
        ecg_input,
        {"samples": ECG_HZ},
        lambda r: r,
    )
    with pytest.raises(AssertionError, match="cut at random"):
        checks.check_equal_however_cut(case)
    with pytest.raises(AssertionError, match="was taken"):
        checks.check_wrong_rate_raises(case)
    with pytest.raises(AssertionError, match="handed out between"):
        checks.check_given_when_known(case)
