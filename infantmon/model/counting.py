"""A count with its noun, for people."""

from __future__ import annotations


def counted(count: int, what: str) -> str:
    """Return a count with its noun, in the singular for one.

    Parameters
    ----------
    count : int
        How many there are.
    what : str
        The noun in the singular, its plural made with an s.

    Examples
    --------
    >>> counted(1, "event"), counted(2, "event")
    ('1 event', '2 events')
    """
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
