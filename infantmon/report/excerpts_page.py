"""The page of a folder of excerpts: every recorded event with its strip, in one HTML file."""

from __future__ import annotations

import os
from collections.abc import Mapping

from infantmon.formats.files import write_whole
from infantmon.model.counting import counted
from infantmon.model.event import Event
from infantmon.model.prescription import Prescription
from infantmon.recorded.decisions import Decisions
from infantmon.recorded.judging import JudgedList
from infantmon.report.cautions import CAUTIONS, NOTICE
from infantmon.report.decided import decision_parts
from infantmon.report.page import LEFT_OUT, SIDES, who_set_text
from infantmon.report.recorded_strips import recorded_parts, recorded_strip_of, rows_of
from infantmon.report.rendering import templates_with
from infantmon.report.reviewed import Reviewed
from infantmon.report.strip import Strip, column_for
from infantmon.report.summary import limit_rows

TITLE = "Recorded events of a folder"


class Excerpts:
    """What the page keeps of each excerpt while they are reviewed one after the other.

    Parameters
    ----------
    count : int
        How many recorded events there are: of very many the strips are drawn more coarsely.
    version : str
        Of the library.
    """

    def __init__(self, count: int, version: str) -> None:
        self._column = column_for(count)
        self.strips: dict[int, Strip] = {}
        self.beside: list[tuple[str, Event]] = []
        self.latencies_s: Mapping[str, float] = {}
        self.version = version

    def add(self, reviewed: Reviewed, excerpt: str) -> None:
        """Keep the strips of an excerpt, and what was found beside its recorded events.

        Parameters
        ----------
        reviewed : Reviewed
            The excerpt, reviewed with its recorded events.
        excerpt : str
            Its name in the list.
        """
        judged = reviewed.recorded or JudgedList(())
        for one in judged.judged:
            strip = recorded_strip_of(reviewed, one, column=self._column)
            if strip is not None:
                self.strips[one.recorded.row] = strip
        self.beside += [(excerpt, event) for event in judged.beside]
        self.latencies_s = reviewed.latencies_s


def excerpts_page(
    judged: JudgedList,
    excerpts: Excerpts,
    decisions: Decisions,
    plan: Prescription,
    *,
    identity: bool = False,
) -> str:
    """Return the text of the page; see `write_excerpts_page`.

    Parameters
    ----------
    judged, excerpts, decisions, plan, identity
        As in `write_excerpts_page`.
    """
    rows = rows_of(judged)
    names = {one.recorded.recording for one in judged.judged}
    return (
        templates_with(decisions)
        .get_template("excerpts.html")
        .render(
            title=TITLE,
            facts=[counted(len(names), "excerpt"), counted(len(rows), "recorded event")],
            cautions=CAUTIONS,
            notice=NOTICE,
            version=excerpts.version,
            listed=judged,
            beside=excerpts.beside,
            events_drawn=False,
            started_at=None,
            sides=SIDES,
            limits=limit_rows(plan, excerpts.latencies_s),
            who_set=who_set_text(plan) if identity else LEFT_OUT,
            recorded_strips=((row, excerpts.strips.get(row.row)) for row in rows),
            **recorded_parts(judged, rows),
            **decision_parts(decisions, [one.recorded for one in judged.judged]),
        )
    )


def write_excerpts_page(
    path: str | os.PathLike[str],
    judged: JudgedList,
    excerpts: Excerpts,
    decisions: Decisions,
    plan: Prescription,
    *,
    identity: bool = False,
) -> None:
    """Write the recorded events of a folder of excerpts as one HTML file that needs nothing else.

    Parameters
    ----------
    path : str or path-like
        Where to write; written whole or not at all.
    judged : JudgedList
        All recorded events, judged.
    excerpts : Excerpts
        What was kept of the excerpts while they were reviewed.
    decisions : Decisions
        What readers decided, as it is to be shown.
    plan : Prescription
        The limits in force.
    identity : bool
        True tells who set the limits. Excerpts go by the names that the list gives them.

    Raises
    ------
    ArgumentError
        If the folder does not exist, or nothing can be written to it.
    """
    write_whole(path, excerpts_page(judged, excerpts, decisions, plan, identity=identity))
