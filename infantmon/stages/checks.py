"""The contract as checks that any stage can be put through: ours, or one of your own.

A `StageCase` says how to make a stage ready for input and what a lively input is. Each check takes
a case and raises `AssertionError` in words when the stage breaks the contract. `CHECKS` lists them
all, so that a test can run every pair of case and check, and count them::

    @pytest.mark.parametrize("case", MY_CASES, ids=lambda case: case.name)
    @pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
    def test_contract(case, check):
        check(case)

Throughout, `case` is a StageCase, `inputs` are the samples of each input by name, each of shape
(n,), `cuts` sample numbers by name of the input, `chunks` the new samples of each input, and
`last` says that nothing more comes. `seed` and `count` choose where to cut, `given` is what one
push handed out, `parts` what all pushes did. Outcomes of two runs are the `first` and the
`second`; `what` names them.
"""

from __future__ import annotations

import dataclasses
import math
import pickle
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from infantmon.errors import ArgumentError, StateError
from infantmon.model.arrays import Floats
from infantmon.model.findings import Findings
from infantmon.model.signal import Signal
from infantmon.stages.contract import Stage

Inputs = Mapping[str, Floats]
Outcome = Findings | Signal


class Runner(Protocol):
    """A stage (and what has to run before it), fed with raw samples by name of input."""

    stage: Stage

    def push(self, chunks: Inputs, *, last: bool) -> Sequence[Outcome]:
        """Take new samples of each input; return what the stage hands out, always in one order."""


class SoloRunner:
    """Runs a stage that takes nothing but samples; the input is called "samples"."""

    def __init__(self, stage: Any) -> None:
        self.stage = stage

    def push(self, chunks: Inputs, *, last: bool) -> Sequence[Outcome]:
        """Push the samples."""
        return outcomes(self.stage.push(chunks["samples"], last=last))


@dataclass(frozen=True)
class StageCase:
    """A stage under test.

    Parameters
    ----------
    name : str
        For test reports.
    start : callable
        Returns a fresh `Runner`.
    inputs : callable
        Returns a lively input of 20 s or more, by name.
    rates_hz : mapping of str to float
        Sampling rate of each input.
    broken_rate : callable
        Makes the stage with the sampling rate given; called with rates that cannot be.
    """

    name: str
    start: Callable[[], Runner]
    inputs: Callable[[], Inputs]
    rates_hz: Mapping[str, float]
    broken_rate: Callable[[float], object]


def outcomes(given: Any) -> tuple[Outcome, ...]:
    """Return findings and signals of one push, whether bare or as fields of a dataclass."""
    if isinstance(given, (Findings, Signal)):
        return (given,)
    return tuple(getattr(given, field.name) for field in dataclasses.fields(given))


# Ways to run a case -------------------------------------------------------------------------------


def run_whole(case: StageCase, inputs: Inputs) -> list[Outcome]:
    """Push everything at once."""
    return list(case.start().push(inputs, last=True))


def run_cut(case: StageCase, inputs: Inputs, cuts: Mapping[str, Sequence[int]]) -> list[Outcome]:
    """Push in pieces cut at the given sample numbers, inputs cut independently of each other."""
    runner = case.start()
    parts = [runner.push(chunks, last=False) for chunks in cut(inputs, cuts)]
    parts.append(runner.push({name: values[:0] for name, values in inputs.items()}, last=True))
    return joined(parts)


def cut(inputs: Inputs, cuts: Mapping[str, Sequence[int]]) -> list[dict[str, Floats]]:
    """Cut each input at its sample numbers; the n-th pieces go together."""
    pieces = {
        name: np.split(values, sorted(min(at, len(values)) for at in cuts[name]))
        for name, values in inputs.items()
    }
    rounds = max(len(parts) for parts in pieces.values())
    return [
        {name: parts[n] if n < len(parts) else inputs[name][:0] for name, parts in pieces.items()}
        for n in range(rounds)
    ]


def random_cuts(
    case: StageCase, inputs: Inputs, seed: int, count: int = 40
) -> dict[str, list[int]]:
    """Return random places to cut, some of them twice (an empty chunk) or one apart."""
    random = np.random.default_rng(seed)
    cuts: dict[str, list[int]] = {}
    for name in case.rates_hz:
        places = random.integers(0, len(inputs[name]) + 1, count).tolist()
        cuts[name] = sorted([*places, *places[:5], *(place + 1 for place in places[5:10])])
    return cuts


def joined(parts: Sequence[Sequence[Outcome]]) -> list[Outcome]:
    """Join the outcomes of all pushes, kind by kind."""
    return [type(column[0]).joined(column) for column in zip(*parts, strict=True)]


def require_equal(first: Sequence[Outcome], second: Sequence[Outcome], what: str) -> None:
    """Raise if two runs differ anywhere."""
    for one, other in zip(first, second, strict=True):
        if not one.equals(other):
            raise AssertionError(f"{what}: {type(one).__name__} differs\n{one}\n{other}")


def _require(condition: bool, what: str) -> None:
    if not condition:
        raise AssertionError(what)


def _reached_s(case: StageCase, pushed: Mapping[str, int]) -> float:
    return min((pushed[name] - 1) / rate for name, rate in case.rates_hz.items())


# The checks ---------------------------------------------------------------------------------------


def check_equal_however_cut(case: StageCase) -> None:
    """Any cutting gives equal results, element for element."""
    inputs = case.inputs()
    whole = run_whole(case, inputs)
    _require(any(len(outcome) for outcome in whole), "the input is not lively: nothing was found")
    for seed in range(5):
        parts = run_cut(case, inputs, random_cuts(case, inputs, seed))
        require_equal(whole, parts, f"cut at random (seed {seed})")


def check_equal_on_repeat(case: StageCase) -> None:
    """Two fresh stages give equal results."""
    inputs = case.inputs()
    require_equal(run_whole(case, inputs), run_whole(case, inputs), "run twice")


def check_given_when_known(case: StageCase) -> None:
    """Pushed sample by sample, each finding comes exactly when the stream reaches its known_s."""
    inputs = _beginning(case, 14.0)
    runner = case.start()
    pushed = dict.fromkeys(case.rates_hz, 0)
    before_s = -math.inf
    found = 0
    for name, _ in _in_order_of_time(case, inputs):
        place = pushed[name]
        chunks = {other: values[:0] for other, values in inputs.items()}
        chunks[name] = inputs[name][place : place + 1]
        pushed[name] += 1
        given = runner.push(chunks, last=False)
        now_s = _reached_s(case, pushed)
        for findings in given:
            if isinstance(findings, Findings) and len(findings):
                found += len(findings)
                _require(
                    bool(np.all(findings.known_s <= now_s + 1e-9))
                    and bool(np.all(findings.known_s > before_s - 1e-9)),
                    f"known at {findings.known_s}, handed out between {before_s} and {now_s} s",
                )
        before_s = max(before_s, now_s)
    whole = [o for o in run_whole(case, inputs) if isinstance(o, Findings)]
    _require(found > 0 or not any(len(o) for o in whole), "nothing came before the last push")


def check_known_in_order(case: StageCase) -> None:
    """known_s never decreases, lies within the latency, and not after the end of the stream."""
    inputs = case.inputs()
    runner = case.start()
    end_s = max((len(inputs[name]) - 1) / rate for name, rate in case.rates_hz.items())
    for findings in runner.push(inputs, last=True):
        if not isinstance(findings, Findings):
            continue
        late_s = findings.known_s - findings.time_s
        _require(bool(np.all(np.diff(findings.known_s) >= 0)), "known_s decreases")
        _require(bool(np.all(late_s >= -1e-9)), f"known before its time: {late_s.min()} s")
        _require(
            bool(np.all(late_s <= runner.stage.latency_s + 1e-9)),
            f"known {late_s.max(initial=0)} s late; {runner.stage.latency_s} s are stated",
        )
        _require(bool(np.all(findings.known_s <= end_s + 1e-9)), "known after the end")


def check_frontier_holds(case: StageCase) -> None:
    """Nothing comes before a frontier that was given; it follows the input at the latency."""
    inputs = case.inputs()
    runner = case.start()
    settled_s = -math.inf
    pushed = dict.fromkeys(case.rates_hz, 0)
    for chunks in cut(inputs, random_cuts(case, inputs, 7)):
        given = runner.push(chunks, last=False)
        for name, values in chunks.items():
            pushed[name] += len(values)
        for outcome in given:
            early = outcome.time_s[outcome.time_s < settled_s - 1e-9]
            _require(not len(early), f"{early} s came after everything before {settled_s} s")
        settled_s = runner.stage.settled_until_s
        due_s = _reached_s(case, pushed) - runner.stage.latency_s
        _require(settled_s >= due_s - 1e-6, f"settled until {settled_s}, {due_s} s are due")
    runner.push({name: values[:0] for name, values in inputs.items()}, last=True)
    _require(runner.stage.settled_until_s == math.inf, "not settled after the last push")


def check_resumes(case: StageCase) -> None:
    """Saved as bytes and resumed in the middle: equal results."""
    _check_interrupted(case, lambda stage: type(stage).resume(stage.save()), "saved and resumed")


def check_pickles(case: StageCase) -> None:
    """Pickled in the middle: equal results (a stage may be handed to another process)."""
    _check_interrupted(case, lambda stage: pickle.loads(pickle.dumps(stage)), "pickled")  # noqa: S301


def check_not_finite_survives(case: StageCase) -> None:
    """NaN and infinity never raise, and the result is still equal however cut."""
    inputs = {name: values.copy() for name, values in case.inputs().items()}
    for name, rate in case.rates_hz.items():
        values = inputs[name]
        values[0] = values[-1] = np.nan
        values[int(4 * rate)] = np.inf
        values[int(7 * rate) : int(9.5 * rate)] = np.nan
        values[int(11 * rate)] = -np.inf
    whole = run_whole(case, inputs)
    for outcome in whole:
        if isinstance(outcome, Findings):
            _require(bool(np.all(np.isfinite(outcome.time_s))), "a finding without a time")
    require_equal(whole, run_cut(case, inputs, random_cuts(case, inputs, 3)), "with NaN")
    nothing = {name: np.full(len(values), np.nan) for name, values in inputs.items()}
    run_whole(case, nothing)


def check_constant_survives(case: StageCase) -> None:
    """Constant and zero inputs never raise."""
    for level in (0.0, 5.0, -3.2e5):
        inputs = {name: np.full(len(v), level) for name, v in case.inputs().items()}
        whole = run_whole(case, inputs)
        require_equal(whole, run_cut(case, inputs, random_cuts(case, inputs, 1)), f"all {level}")


def check_offset_is_nothing(case: StageCase) -> None:
    """A huge offset changes no finding (times to a millionth of a second)."""
    inputs = case.inputs()
    shifted = {name: values + 1e6 for name, values in inputs.items()}
    for one, other in zip(run_whole(case, inputs), run_whole(case, shifted), strict=True):
        _require(len(one) == len(other), f"{len(one)} findings, {len(other)} with an offset")
        _require(bool(np.allclose(one.time_s, other.time_s, atol=1e-6)), "times moved")


def check_empty_is_nothing(case: StageCase) -> None:
    """An empty stream gives an empty result."""
    inputs = {name: values[:0] for name, values in case.inputs().items()}
    _require(not any(len(o) for o in run_whole(case, inputs)), "something out of nothing")


def check_short_survives(case: StageCase) -> None:
    """A few samples never raise."""
    whole = case.inputs()
    for count in (1, 2, 10, 100, 250):
        run_whole(case, {name: values[:count] for name, values in whole.items()})


def check_input_untouched(case: StageCase) -> None:
    """The input is not changed, and may be read-only."""
    inputs = case.inputs()
    kept = {name: values.copy() for name, values in inputs.items()}
    for values in inputs.values():
        values.flags.writeable = False
    run_whole(case, inputs)
    for name, values in inputs.items():
        _require(np.array_equal(values, kept[name], equal_nan=True), f"{name} was changed")


def check_memory_is_bounded(case: StageCase) -> None:
    """The saved state does not grow with the length of the stream."""
    inputs = case.inputs()
    sizes = []
    runner = case.start()
    for _ in range(12):
        runner.push(inputs, last=False)
        sizes.append(len(runner.stage.save()))
    early, late = max(sizes[2:6]), max(sizes[8:])
    _require(late <= 1.5 * early + 20_000, f"the state grew from {early} to {late} bytes")


def check_ends_once(case: StageCase) -> None:
    """A push after the last one is refused."""
    runner = case.start()
    inputs = case.inputs()
    runner.push(inputs, last=True)
    try:
        runner.push({name: values[:1] for name, values in inputs.items()}, last=False)
    except StateError:
        return
    raise AssertionError("a push after the last one was taken")


def check_wrong_rate_raises(case: StageCase) -> None:
    """A sampling rate that cannot be is refused at once."""
    for rate in (0.0, -250.0, math.nan, math.inf):
        try:
            case.broken_rate(rate)
        except ArgumentError as fault:
            _require("Hz" in str(fault), f"the message names no unit: {fault}")
        else:
            raise AssertionError(f"a rate of {rate} Hz was taken")


def check_settings_are_frozen(case: StageCase) -> None:
    """Settings are a frozen dataclass that equals itself through save and resume."""
    stage = case.start().stage
    resumed = type(stage).resume(stage.save())
    _require(resumed.settings == stage.settings, "the settings changed on the way")
    name = dataclasses.fields(stage.settings)[0].name
    try:
        setattr(stage.settings, name, getattr(stage.settings, name))
    except (dataclasses.FrozenInstanceError, AttributeError):
        return
    raise AssertionError("the settings can be changed")


CHECKS: tuple[Callable[[StageCase], None], ...] = (
    check_equal_however_cut,
    check_equal_on_repeat,
    check_given_when_known,
    check_known_in_order,
    check_frontier_holds,
    check_resumes,
    check_pickles,
    check_not_finite_survives,
    check_constant_survives,
    check_offset_is_nothing,
    check_empty_is_nothing,
    check_short_survives,
    check_input_untouched,
    check_memory_is_bounded,
    check_ends_once,
    check_wrong_rate_raises,
    check_settings_are_frozen,
)


def _check_interrupted(case: StageCase, again: Callable[[Stage], Stage], what: str) -> None:
    inputs = case.inputs()
    whole = run_whole(case, inputs)
    for share in (0.0, 0.31, 0.5, 0.77):
        places = {name: [int(share * len(values))] for name, values in inputs.items()}
        first, second = cut(inputs, places)
        runner = case.start()
        parts = [runner.push(first, last=False)]
        runner.stage = again(runner.stage)
        parts.append(runner.push(second, last=True))
        require_equal(whole, joined(parts), f"{what} at {share:.0%}")


def _beginning(case: StageCase, seconds: float) -> dict[str, Floats]:
    return {
        name: values[: int(seconds * case.rates_hz[name])] for name, values in case.inputs().items()
    }


def _in_order_of_time(case: StageCase, inputs: Inputs) -> list[tuple[str, float]]:
    """Return the samples of all inputs in the order of their time."""
    samples = [
        (name, place / rate)
        for name, rate in case.rates_hz.items()
        for place in range(len(inputs[name]))
    ]
    return sorted(samples, key=lambda sample: (sample[1], sample[0]))
