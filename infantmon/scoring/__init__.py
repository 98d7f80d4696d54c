"""Marks, episodes and alarms compared with a reference."""

from infantmon.scoring.agreement import Agreement, cohen_kappa
from infantmon.scoring.alarms import AlarmScore, score_alarms
from infantmon.scoring.bootstrap import positive_predictivities, record_interval, sensitivities
from infantmon.scoring.episodes import EpisodeMatch, EpisodeTally, match_episodes
from infantmon.scoring.marks import MarkMatch, MarkScore, match_marks, score_marks
from infantmon.scoring.tallies import Tally, average, gross, percent, wilson_interval

__all__ = [
    "Agreement",
    "AlarmScore",
    "EpisodeMatch",
    "EpisodeTally",
    "MarkMatch",
    "MarkScore",
    "Tally",
    "average",
    "cohen_kappa",
    "gross",
    "match_episodes",
    "match_marks",
    "percent",
    "positive_predictivities",
    "record_interval",
    "score_alarms",
    "score_marks",
    "sensitivities",
    "wilson_interval",
]
