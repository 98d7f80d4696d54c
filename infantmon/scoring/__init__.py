"""Marks and episodes compared with a reference."""

from infantmon.scoring.episodes import EpisodeMatch, EpisodeTally, match_episodes
from infantmon.scoring.marks import MarkMatch, MarkScore, match_marks, score_marks
from infantmon.scoring.tallies import Tally, average, gross, percent, wilson_interval

__all__ = [
    "EpisodeMatch",
    "EpisodeTally",
    "MarkMatch",
    "MarkScore",
    "Tally",
    "average",
    "gross",
    "match_episodes",
    "match_marks",
    "percent",
    "score_marks",
    "wilson_interval",
]
