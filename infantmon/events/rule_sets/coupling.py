"""Coupling of apneas and slow hearts by published time windows.

In come pauses and slow hearts; out comes each pause with the slow hearts that begin in its windows.

References
----------
The windows are as carried out in an academic group's openly licensed code, which cites Lee H et
al., Physiol Meas 2012;33:1-17.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from infantmon.errors import require_each
from infantmon.events.rule_sets.episodes import Episode
from infantmon.events.watch import COUPLED_AFTER_END_S, COUPLED_AFTER_ONSET_S


@dataclass(frozen=True)
class Coupling:
    """An apnea and the slow hearts that are coupled to it.

    Attributes
    ----------
    apnea : Episode
        The pause.
    slowings : tuple of Episode
        The slow hearts, in order of time; empty where there is none.
    """

    apnea: Episode
    slowings: tuple[Episode, ...]


def coupled(apneas: Iterable[Episode], slowings: Iterable[Episode]) -> list[Coupling]:
    """Return each apnea with the slow hearts that are coupled to it.

    A slow heart is coupled if it begins after the apnea's onset (strictly), and less than 50 s
    after the onset or less than 25 s after the end.

    Parameters
    ----------
    apneas, slowings : iterable of Episode
        Pauses and slow hearts, in order of time.

    Raises
    ------
    ArgumentError
        If they are no episodes.
    """
    slow = require_each(slowings, Episode, name="slowings", called="Episode objects")
    pauses = require_each(apneas, Episode, name="apneas", called="Episode objects")
    return [Coupling(apnea, tuple(one for one in slow if _belongs(one, apnea))) for apnea in pauses]


def _belongs(slowing: Episode, apnea: Episode) -> bool:
    since_onset_s = slowing.start_s - apnea.start_s
    since_end_s = slowing.start_s - apnea.end_s
    return since_onset_s > 0 and (
        since_onset_s < COUPLED_AFTER_ONSET_S or since_end_s < COUPLED_AFTER_END_S
    )
