"""What several prescriptions over the same findings have in common, worked out once.

Trying a hundred limits over one night asks the same questions a hundred times. Here an answer is
kept under all that it depends on, and looked up by whoever asks again.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import TypeVar

from infantmon.events.batch import Batch
from infantmon.events.history import History

_T = TypeVar("_T")


class Shared:
    """The history of a whole recording, and answers that depend on nothing but their key.

    Parameters
    ----------
    whole : Batch
        All findings, as one batch that ends the stream.
    """

    def __init__(self, whole: Batch) -> None:
        self.whole = whole
        self.history = History()
        self.history.add(whole)
        self._known: dict[Hashable, object] = {}

    def once(self, key: Hashable, work: Callable[[], _T]) -> _T:
        """Return what was found for a key before, or find it now."""
        if key not in self._known:
            self._known[key] = work()
        return self._known[key]  # type: ignore[return-value]
