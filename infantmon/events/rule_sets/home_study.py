"""Events of a large home-monitoring study, by postmenstrual age.

In come the stored findings of a recording, and the infant's age; out come the pauses and slow
hearts that pass the study's thresholds. There are two sets of them, and slower hearts are asked for
from an age on.
"""

from __future__ import annotations

from dataclasses import dataclass

from infantmon.errors import as_floats, require_between
from infantmon.events.rule_sets.episodes import Episodes, Stored, in_order
from infantmon.events.rule_sets.intervals import beat_intervals, breath_intervals
from infantmon.events.rule_sets.pauses import long_pauses
from infantmon.events.rule_sets.slowing import slow_stretches

STEP_WEEKS = 44.0
LOWER, UPPER = "lower thresholds", "upper thresholds"

_APNEA_S = {LOWER: 20.0, UPPER: 30.0}
_SLOW_BEFORE: dict[str, tuple[tuple[float, float], ...]] = {
    LOWER: ((80.0, 15.0), (60.0, 5.0)),
    UPPER: ((60.0, 10.0),),
}
_SLOW_FROM: dict[str, tuple[tuple[float, float], ...]] = {
    LOWER: ((60.0, 15.0), (50.0, 5.0)),
    UPPER: ((50.0, 10.0),),
}


@dataclass(frozen=True)
class HomeStudyEvents:
    """Apneas and slow hearts at the two sets of thresholds of the CHIME study.

    Lower thresholds (the study: conventional events): apnea of 20 s or more; before 44 weeks of
    postmenstrual age a rate below 80 for 15 s or more, or below 60 for 5 s or more; from 44 weeks
    on below 60 for 15 s or below 50 for 5 s. Upper thresholds (the study: extreme events): apnea of
    30 s or more; before 44 weeks below 60 for 10 s or more, from then on below 50 for 10 s.

    Parameters
    ----------
    postmenstrual_age_weeks : float
        Age on the day of the recording, in weeks; 43 weeks 6 days is 43 + 6/7, and before the step;
        44 weeks 0 days is on its far side.
    upper : bool
        Whether to use the upper thresholds.

    Notes
    -----
    A rate is that of every single RR interval in the stretch; the study's own averaging is not
    reproduced (project's choice).

    References
    ----------
    Ramanathan R, Corwin MJ, Hunt CE, et al., JAMA 2001;285:2199-2207. The thresholds are from
    memory; a later abstract (Hunt et al., J Pediatr 2004;145:465) gives a range that fits them.
    """

    postmenstrual_age_weeks: float
    upper: bool = False

    source = (
        "Ramanathan R, Corwin MJ, Hunt CE, et al., JAMA 2001;285:2199-2207 (CHIME study); "
        "thresholds from memory, in keeping with Hunt et al., J Pediatr 2004;145:465 (abstract)"
    )

    def __post_init__(self) -> None:
        as_floats(self)
        age = self.postmenstrual_age_weeks
        require_between(age, 22.0, 200.0, name="postmenstrual_age_weeks", unit="weeks")

    @property
    def tier(self) -> str:
        """Which thresholds, in words."""
        return UPPER if self.upper else LOWER

    @property
    def slow(self) -> tuple[tuple[float, float], ...]:
        """Rates (beats a minute) and how long (s) the heart must stay below each."""
        younger = self.postmenstrual_age_weeks < STEP_WEEKS
        return (_SLOW_BEFORE if younger else _SLOW_FROM)[self.tier]

    def episodes(self, findings: Stored) -> Episodes:
        """Return what the rule makes of stored findings."""
        breaths, beats = breath_intervals(findings.whole), beat_intervals(findings.whole)
        apnea_s = _APNEA_S[self.tier]
        found = long_pauses(breaths, apnea_s, f"pause of {apnea_s:g} s or more")
        for limit_bpm, least_s in self.slow:
            clause = f"below {limit_bpm:g} a minute for {least_s:g} s or more"
            found += slow_stretches(beats, limit_bpm, least_s, clause)
        clauses = "; ".join(f"below {b:g} a minute for {s:g} s or more" for b, s in self.slow)
        rule = f"{self.tier}: pause of {apnea_s:g} s or more; {clauses}"
        judged = {"impedance": breaths.judged_s, "ecg": beats.judged_s}
        return Episodes(rule, self.source, in_order(found), judged)
