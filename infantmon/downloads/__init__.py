"""Many downloads of one infant: read, laid on one calendar, summed up."""

from infantmon.downloads.download import Download, download_of, read_download
from infantmon.downloads.page import write_downloads
from infantmon.downloads.summary import Prescribed, summarise_downloads
from infantmon.downloads.telling import downloads_text

__all__ = [
    "Download",
    "Prescribed",
    "download_of",
    "downloads_text",
    "read_download",
    "summarise_downloads",
    "write_downloads",
]
