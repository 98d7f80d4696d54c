"""Files that are written whole or not at all."""

from __future__ import annotations

import errno
import os
import tempfile
from pathlib import Path


def write_whole(path: str | os.PathLike[str], text: str) -> None:
    """Write a text file in UTF-8; if that fails, what stood there before still stands there.

    Raises
    ------
    OSError
        If the folder does not exist or cannot be written.
    """
    target = Path(path)
    if not target.parent.is_dir():
        raise FileNotFoundError(
            errno.ENOENT, "the folder does not exist; make it first", str(target.parent)
        )
    with tempfile.NamedTemporaryFile(
        "w", encoding="utf-8", newline="\n", dir=target.parent, prefix=target.name, delete=False
    ) as half:
        try:
            half.write(text)
            half.close()
            Path(half.name).chmod(_usual_mode())
            Path(half.name).replace(target)
        except BaseException:
            Path(half.name).unlink(missing_ok=True)
            raise


def _usual_mode() -> int:
    """Return the mode that an ordinary new file gets; temporary files are private."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
