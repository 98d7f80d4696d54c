"""What every stage keeps to, so that stages can be cut, chained, saved and trusted alike.

* **Settings are frozen; running state is apart.** A stage is made from one settings object. What it
  carries from push to push is named in ``carried`` (see `infantmon.model.carried`).
* **push takes whatever has arrived**, an empty chunk too; ``last=True`` says that the stream has
  ended and flushes. The findings of all pushes together are equal, element for element, however the
  samples were cut.
* **Latency is a constant.** A finding at time t is handed out by the very push that brings the
  input up to its ``known_s`` <= t + ``latency_s``, and never taken back. With all input up to time
  T pushed, everything before T - ``latency_s`` is settled: so "no breath until t" is known at
  t + ``latency_s``, exactly. The end of the stream cuts that wait short.
* **Bad samples never raise and never vanish**; wrong arguments raise at once.
* **Memory is bounded**, however long the stream.

Time of the input: after n samples have been pushed, the stream has reached the time of sample
n - 1. A stage fed by another stage is told in its settings how far that one's output lags
(``input_lag_s``), so that its ``known_s`` counts in the time of the raw input.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import fields
from typing import Any, ClassVar, Self

from infantmon.errors import ArgumentError, StateError
from infantmon.model.carried import Carried, decode, encode


class Stage(Carried, ABC):
    """Base of all stages.

    A subclass sets `settings_type`, names its running state in `carried`, and gives `latency_s`,
    `settled_until_s` and a ``push(samples, *, last=False)`` of its own (stages that are led by
    findings take them as further arguments).

    Raises
    ------
    ArgumentError
        If it is made from anything but its settings.
    """

    settings_type: ClassVar[type[Any]]

    def __init__(self, settings: Any) -> None:
        if not isinstance(settings, self.settings_type):
            raise ArgumentError(
                f"settings is a {type(settings).__name__}; "
                f"{type(self).__name__} is made from {self.settings_type.__name__}."
            )
        self.settings = settings
        self._ended = False

    @property
    @abstractmethod
    def latency_s(self) -> float:
        """The longest that a finding can be known after its time, in seconds of the raw input."""

    @property
    @abstractmethod
    def settled_until_s(self) -> float:
        """All findings before this time have been given; infinity once the stream has ended."""

    def snapshot(self) -> dict[str, Any]:
        """Return the running state, and whether the stream has ended, as plain data."""
        return {"ended": self._ended, "carried": super().snapshot()}

    def restore(self, snapshot: dict[str, Any]) -> None:
        """Take up a running state that `snapshot` of an equally set stage returned."""
        self._ended = bool(snapshot["ended"])
        super().restore(snapshot["carried"])

    def begin_push(self, *, last: bool) -> None:
        """Refuse a push after the last one; note when this is the last.

        Raises
        ------
        StateError
            If the stream has ended already.
        """
        if self._ended:
            raise StateError(
                f"{type(self).__name__} was pushed after its last push; "
                "make a new one for a new stream."
            )
        self._ended = last

    def save(self) -> bytes:
        """Return settings and running state as bytes that `resume` reads."""
        name = type(self).__name__
        return encode({"stage": name, "settings": self.settings, "state": self.snapshot()})

    @classmethod
    def resume(cls, blob: bytes) -> Self:
        """Return a stage that goes on where the saved one stood.

        Parameters
        ----------
        blob : bytes
            What `save` gave.

        Raises
        ------
        StateError
            If the blob is damaged, or was saved by another stage.
        """
        parts = decode(blob)
        if parts.get("stage") != cls.__name__:
            raise StateError(
                f"the saved state is of {parts.get('stage')!r}; {cls.__name__} was asked for."
            )
        stage = cls(parts["settings"])
        stage.restore(parts["state"])
        return stage

    def __repr__(self) -> str:
        listed = ", ".join(
            f"{f.name}={getattr(self.settings, f.name)!r}" for f in fields(self.settings)
        )
        return f"{type(self).__name__}({listed})"


def settled_before(reached_s: float, latency_s: float, *, ended: bool) -> float:
    """Return the frontier of a stage whose input has reached a time (both in seconds).

    Parameters
    ----------
    reached_s : float
        How far the input has come.
    latency_s : float
        The stage's constant.
    ended : bool
        Whether nothing more comes.
    """
    return math.inf if ended else reached_s - latency_s
