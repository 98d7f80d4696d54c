"""Apnea of prematurity, in both published wordings.

In come the stored findings of a recording; out come long pauses, and shorter
ones with a slow heart.
"""

from __future__ import annotations

from dataclasses import dataclass

from infantmon.events.rule_sets.coupling import coupled
from infantmon.events.rule_sets.episodes import Episode, Episodes, Stored, in_order
from infantmon.events.rule_sets.intervals import beat_intervals, breath_intervals, reaches
from infantmon.events.rule_sets.pauses import long_pauses
from infantmon.events.rule_sets.slowing import slow_stretches

LONG_S, SHORTER_S, SLOW_BPM = 20.0, 10.0, 100.0


@dataclass(frozen=True)
class ApneaOfPrematurity:
    """A pause of 20 s, or one of 10 s with a heart rate below 100.

    Parameters
    ----------
    strict : bool
        True: longer than 20 s, or longer than 10 s (Finer et al.); False: 20 s or more, or 10 s or
        more (Lim et al.). The sources differ; nothing is assumed.

    Notes
    -----
    Desaturation is the other sign in both wordings; it is not recorded here, so a shorter pause
    with a desaturation alone is not found. The sources do not say when a slow heart is "with" a
    pause: here, when any RR interval below 100 a minute is coupled to it by the published windows
    (see `coupled`).

    References
    ----------
    Strict: Finer NN et al., Pediatrics 2006;117:S47-51, as quoted by Lee H et al., Physiol Meas
    2012;33:1-17. Inclusive: Lim K et al., Front Pediatr 2020;8:570.
    """

    strict: bool

    @property
    def source(self) -> str:
        """The wording's citation."""
        if self.strict:
            return "Finer NN et al., Pediatrics 2006;117:S47-51 (quoted by Lee H et al. 2012)"
        return "Lim K et al., Front Pediatr 2020;8:570"

    def episodes(self, findings: Stored) -> Episodes:
        """Return what the rule makes of stored findings."""
        breaths, beats = breath_intervals(findings.whole), beat_intervals(findings.whole)
        word = "longer than {:g} s" if self.strict else "{:g} s or more"
        slow_clause = f"below {SLOW_BPM:g} a minute"
        slowings = slow_stretches(beats, SLOW_BPM, 0.0, slow_clause)
        pauses = long_pauses(breaths, SHORTER_S, "", strict=self.strict)
        found = []
        for pair in coupled(pauses, slowings):
            alone = bool(reaches(pair.apnea.length_s, LONG_S, strict=self.strict))
            if not alone and not pair.slowings:
                continue
            length = word.format(LONG_S if alone else SHORTER_S)
            measures = dict(pair.apnea.measures)
            if pair.slowings:
                measures["lowest_bpm"] = min(one.measures["lowest_bpm"] for one in pair.slowings)
            found.append(
                Episode(
                    "apnea",
                    f"pause {length}" + ("" if alone else f" with a heart rate {slow_clause}"),
                    pair.apnea.start_s,
                    pair.apnea.end_s,
                    measures,
                    complete=pair.apnea.complete,
                )
            )
        rule = f"pause {word.format(LONG_S)}, or {word.format(SHORTER_S)} and {slow_clause}"
        judged = {"impedance": breaths.judged_s, "ecg": beats.judged_s}
        return Episodes(rule, self.source, in_order(found), judged)
