"""The invented infant's ECG: each wave of a beat is a Gaussian bump placed from the R peak."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.errors import as_floats, require_between
from infantmon.model.arrays import Bools, Floats
from infantmon.simulate.heart import Beats
from infantmon.simulate.noise import bumps

R_WAVE, S_WAVE, T_WAVES = 1, 2, (4, 5)  # places in the list of waves: Q, R, S, P, T, T
USUAL_RR_S = 0.42  # 143 a minute: the median rate at 0 to 3 months (Fleming et al. 2011)


@dataclass(frozen=True)
class EcgLead:
    """How the ECG looks.

    Parameters
    ----------
    r_mv : float
        Height of the R wave, in mV.
    inverted : bool
        Whether the lead is upside down.
    p_share, q_share, s_share, t_share : float
        Height of the other waves, as a share of R; Q and S point down when positive.
    qrs_s : float
        Length of the QRS, in seconds. Newborns: 40 +- 10 ms, mean 50 to 53 ms in another series.
    pr_s : float
        From the begin of P to the begin of QRS at the usual rate. Newborns: 90 +- 20 ms.
    qtc_s : float
        From the begin of QRS to the end of T at an interval of 1 s; QT goes with the square root of
        the interval. Newborns: 400 +- 30 ms.
    breathing_share : float
        How much smaller R is at the height of inspiration, as a share.

    References
    ----------
    McSharry et al., IEEE Trans Biomed Eng 2003;50:289-294 (waves as Gaussian bumps; citation from
    memory). Intervals: abstracts on newborn ECG (n = 364).
    """

    r_mv: float = 0.9
    inverted: bool = False
    p_share: float = 0.11
    q_share: float = 0.1
    s_share: float = 0.25
    t_share: float = 0.22
    qrs_s: float = 0.05
    pr_s: float = 0.09
    qtc_s: float = 0.4
    breathing_share: float = 0.08

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.r_mv, 0.0, 20.0, name="r_mv", unit="mV")
        for name in ("p_share", "q_share", "s_share", "t_share"):
            require_between(getattr(self, name), -5.0, 5.0, name=name, unit="of R")
        require_between(self.qrs_s, 0.01, 0.2, name="qrs_s", unit="s")
        require_between(self.pr_s, 0.03, 0.3, name="pr_s", unit="s")
        require_between(self.qtc_s, 0.2, 0.7, name="qtc_s", unit="s")
        require_between(self.breathing_share, 0.0, 1.0, name="breathing_share", unit="of R")


@dataclass(frozen=True, eq=False)
class _Wave:
    """One wave of every beat: where it is from R, how wide, how high (a share of R)."""

    offset_s: Floats
    width_s: Floats
    share: Floats

    def put(self, where: Bools, other: _Wave) -> None:
        """Let some beats have the wave of another lead."""
        for name in ("offset_s", "width_s", "share"):
            getattr(self, name)[where] = getattr(other, name)[where]


class EcgShape:
    """The ECG of all beats of a night, for any stretch of it.

    Parameters
    ----------
    lead : EcgLead
        How it looks.
    beats : Beats
        When the heart beats.
    inspired : numpy.ndarray, shape (n,)
        How far a breath has gone at each beat, 0 to about 1.
    ectopic : sequence of (numpy.ndarray of bool, EcgLead)
        Which beats look otherwise, and how.
    """

    def __init__(
        self,
        lead: EcgLead,
        beats: Beats,
        inspired: Floats,
        ectopic: Sequence[tuple[Bools, EcgLead]] = (),
    ) -> None:
        rr = np.clip(beats.before_s, 0.18, 1.2)
        self.time_s = beats.time_s
        self.waves = _qrs(lead, rr) + _p_and_t(lead, rr)
        shift, top = _top_of_qrs(_qrs(lead, np.full(1, USUAL_RR_S)))
        self.shift_s = np.full(len(rr), shift)
        self.height_mv = _height(lead, top) * (1.0 - lead.breathing_share * inspired)
        for where, looks in ectopic:
            for wave, other in zip(self.waves, _qrs(looks, rr) + _p_and_t(looks, rr), strict=True):
                wave.put(where, other)
            shift, top = _top_of_qrs(_qrs(looks, np.full(1, USUAL_RR_S)))
            self.shift_s[where] = shift
            breathing = 1.0 - looks.breathing_share * inspired[where]
            self.height_mv[where] = _height(looks, top) * breathing

    def turn(self, r: Floats, s: Floats, t: Floats) -> None:
        """Multiply the waves R, S and T of each beat (a turned axis)."""
        for number, factor in ((R_WAVE, r), (S_WAVE, s), *((n, t) for n in T_WAVES)):
            wave = self.waves[number]
            self.waves[number] = _Wave(wave.offset_s, wave.width_s, wave.share * factor)

    def mv(self, time_s: Floats) -> Floats:
        """Return the ECG at evenly spaced times, in mV."""
        first, last = np.searchsorted(self.time_s, [time_s[0] - 2.0, time_s[-1] + 2.0])
        near = slice(int(first), int(last))
        total = np.zeros(len(time_s))
        for wave in self.waves:
            centre = self.time_s[near] + wave.offset_s[near] - self.shift_s[near]
            height = wave.share[near] * self.height_mv[near]
            total += bumps(time_s, centre, wave.width_s[near], height)
        return total


def _height(lead: EcgLead, top: float) -> float:
    return (-1.0 if lead.inverted else 1.0) * lead.r_mv / top


def _qrs(lead: EcgLead, rr_s: Floats) -> list[_Wave]:
    unit = np.ones(len(rr_s))
    length = lead.qrs_s
    return [
        _Wave(-0.28 * length * unit, 0.085 * length * unit, -lead.q_share * unit),
        _Wave(0.0 * unit, 0.12 * length * unit, 1.0 * unit),
        _Wave(0.31 * length * unit, 0.1 * length * unit, -lead.s_share * unit),
    ]


def _p_and_t(lead: EcgLead, rr_s: Floats) -> list[_Wave]:
    slowness = np.sqrt(rr_s / USUAL_RR_S)
    unit = np.ones(len(rr_s))
    before, after = 0.5 * lead.qrs_s, lead.qtc_s * np.sqrt(rr_s) - 0.5 * lead.qrs_s
    p_width = 0.014 * np.clip(slowness, 0.7, 1.3)
    p_place = -before - lead.pr_s * np.clip(slowness, 0.75, 1.2) + 2.0 * p_width
    t_width = 0.12 * lead.qtc_s * np.sqrt(rr_s)
    t_place = after - 2.0 * t_width
    return [
        _Wave(p_place, p_width, lead.p_share * unit),
        _Wave(t_place - 1.2 * t_width, 1.7 * t_width, 0.35 * lead.t_share * unit),
        _Wave(t_place, t_width, 0.8 * lead.t_share * unit),
    ]


def _top_of_qrs(waves: list[_Wave]) -> tuple[float, float]:
    """Return where the QRS is largest (seconds from the R bump's centre) and how large."""
    grid = np.linspace(-0.02, 0.02, 40001)
    total = np.zeros(len(grid))
    for wave in waves:
        total += wave.share[0] * np.exp(
            -0.5 * np.square((grid - wave.offset_s[0]) / wave.width_s[0])
        )
    best = int(np.argmax(total))
    return float(grid[best]), float(total[best])
