"""Published rule sets, to be run over the stored findings of a review. For review only.

They tell what a published definition makes of a recording. None is a recommendation, and none sets
a limit: what a monitor alarms at is the prescription's. Names of studies stand beside their rules
as sources. SpO2 is not recorded, so clauses that need it are never met, and arousals are not seen.
"""

from infantmon.events.rule_sets.bradycardia import PooledSlowBeats, RelativeFall, SustainedSlowing
from infantmon.events.rule_sets.coupling import Coupling, coupled
from infantmon.events.rule_sets.episodes import Episode, Episodes
from infantmon.events.rule_sets.home_study import HomeStudyEvents
from infantmon.events.rule_sets.pause_rows import PAUSE_ROWS, PauseRows
from infantmon.events.rule_sets.prematurity import ApneaOfPrematurity
from infantmon.events.rule_sets.sleep_scoring import InfantCentralApnea

__all__ = [
    "PAUSE_ROWS",
    "ApneaOfPrematurity",
    "Coupling",
    "Episode",
    "Episodes",
    "HomeStudyEvents",
    "InfantCentralApnea",
    "PauseRows",
    "PooledSlowBeats",
    "RelativeFall",
    "SustainedSlowing",
    "coupled",
]
