"""The page of many downloads, and the files that the command writes."""

from __future__ import annotations

import os
from pathlib import Path

from infantmon.downloads.summary import DownloadsSummary
from infantmon.downloads.telling import (
    JUDGEMENTS,
    downloads_json_text,
    downloads_plain,
    hours_digits,
)
from infantmon.errors import require_path
from infantmon.formats.files import write_whole
from infantmon.model.counting import counted
from infantmon.report.cautions import CAUTIONS
from infantmon.report.rendering import templates_of


def downloads_html(summary: DownloadsSummary, *, identity: bool = False) -> str:
    """Return a summary as one self-contained page.

    Parameters
    ----------
    summary : DownloadsSummary
        From `summarise_downloads`.
    identity : bool
        Whether dates and names of downloads are shown.
    """
    environment = templates_of("infantmon.downloads")
    environment.filters["hours"] = hours_digits
    environment.filters["counted"] = counted
    environment.filters["rate"] = lambda rate: "–" if rate is None else f"{rate:.2f}"
    environment.filters["percent"] = lambda share: "–" if share is None else f"{100 * share:.0f} %"
    return environment.get_template("downloads.html").render(
        told=downloads_plain(summary, identity=identity),
        cautions=CAUTIONS,
        judgements=JUDGEMENTS,
    )


def write_downloads(
    summary: DownloadsSummary, folder: str | os.PathLike[str], *, identity: bool = False
) -> list[Path]:
    """Write downloads.html and downloads.json; return their paths.

    Parameters
    ----------
    summary : DownloadsSummary
        From `summarise_downloads`.
    folder : str or path
        Where to; made if it is not there.
    identity : bool
        Whether dates and names of downloads are written.

    Raises
    ------
    ArgumentError
        If the folder does not exist, or nothing can be written to it.
    """
    place = require_path(folder, name="folder")
    place.mkdir(parents=True, exist_ok=True)
    write_whole(place / "downloads.html", downloads_html(summary, identity=identity))
    write_whole(place / "downloads.json", downloads_json_text(summary, identity=identity) + "\n")
    return [place / "downloads.html", place / "downloads.json"]
