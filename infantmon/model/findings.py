"""Findings: small tables of equal-length arrays, one row a finding, that stages hand out."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from infantmon.errors import ArgumentError
from infantmon.model.arrays import Bools, Floats

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Findings:
    """Findings of one stage, in the order in which they were handed out.

    Attributes
    ----------
    time_s : numpy.ndarray, shape (n,)
        When each finding is, in seconds from the recording's start.
    known_s : numpy.ndarray, shape (n,)
        The stream time of the last input sample that was needed to settle it, in seconds. Never
        decreases, and lies between `time_s` and `time_s` + the stage's latency.
    settled_until_s : float
        All findings with `time_s` below this have been given; infinity once the stream has ended.
    """

    time_s: Floats
    known_s: Floats
    settled_until_s: float = field(default=math.inf, kw_only=True)

    def __init_subclass__(cls) -> None:
        """Keep the short text: a dataclass would make one of its own that holds every array."""
        super().__init_subclass__()
        setattr(cls, "__repr__", Findings.__repr__)  # noqa: B010 - mypy lets no method be assigned

    def __post_init__(self) -> None:
        values = self.__dict__  # read at once: thousands of small tables are made a minute
        count = len(values["time_s"])
        for name in self.columns():
            if len(values[name]) != count:
                lengths = {column: len(values[column]) for column in self.columns()}
                raise ArgumentError(f"the columns differ in length: {lengths}; pass equal lengths")

    @classmethod
    @cache
    def columns(cls) -> tuple[str, ...]:
        """Return the names of the columns, in order."""
        return tuple(f.name for f in dataclasses.fields(cls) if f.name != "settled_until_s")

    @classmethod
    def empty(cls, settled_until_s: float = math.inf) -> Self:
        """Return no findings, with the right type in every column."""
        if settled_until_s == math.inf:
            return cls._nothing()
        return cls(**cls._no_columns(), settled_until_s=settled_until_s)

    @classmethod
    @cache
    def _nothing(cls) -> Self:
        return cls(**cls._no_columns(), settled_until_s=math.inf)

    @classmethod
    @cache
    def _no_columns(cls) -> dict[str, np.ndarray[Any, Any]]:
        """Return empty columns, shared by all empty tables: there is nothing in them to change."""
        kinds = {f.name: f.metadata.get("dtype", np.float64) for f in dataclasses.fields(cls)}
        return {name: np.empty(0, dtype=kinds[name]) for name in cls.columns()}

    @classmethod
    def joined(cls, parts: Sequence[Self]) -> Self:
        """Return consecutive findings of one stage as one table."""
        if not parts:
            return cls.empty()
        columns = {n: np.concatenate([getattr(p, n) for p in parts]) for n in cls.columns()}
        return cls(**columns, settled_until_s=parts[-1].settled_until_s)

    def __len__(self) -> int:
        return len(self.time_s)

    def where(self, keep: Bools) -> Self:
        """Return the rows for which `keep` is true."""
        kept = {name: getattr(self, name)[keep] for name in self.columns()}
        return type(self)(**kept, settled_until_s=self.settled_until_s)

    def rows(self, first: int, after: int) -> Self:
        """Return the rows from `first` up to, not with, `after`; itself if that is all."""
        if first == 0 and after >= len(self):
            return self
        cut = {name: getattr(self, name)[first:after] for name in self.columns()}
        return type(self)(**cut, settled_until_s=self.settled_until_s)

    def between(self, start_s: float, end_s: float) -> Self:
        """Return the findings with start <= `time_s` < end, in seconds."""
        return self.where((self.time_s >= start_s) & (self.time_s < end_s))

    def equals(self, other: object) -> bool:
        """Tell whether all columns are equal, element for element (NaN equals NaN)."""
        if type(self) is not type(other):
            return False
        return all(
            np.array_equal(getattr(self, n), getattr(other, n), equal_nan=_may_be_nan(self, n))
            for n in self.columns()
        )

    def to_frame(self) -> pd.DataFrame:
        """Return the findings as a pandas table, one row a finding."""
        import pandas as pd  # noqa: PLC0415 - heavy; loaded only for who asks for a table

        return pd.DataFrame({name: getattr(self, name) for name in self.columns()})

    def __repr__(self) -> str:
        span = f", {self.time_s[0]:.1f} to {self.time_s[-1]:.1f} s" if len(self) else ""
        return f"{type(self).__name__}({len(self)} rows{span}; {', '.join(self.columns())})"

    def _repr_html_(self) -> str:
        """Show the table in a notebook."""
        return str(self.to_frame().to_html(max_rows=20))


def _may_be_nan(findings: Findings, column: str) -> bool:
    values: np.ndarray[Any, Any] = getattr(findings, column)
    return bool(values.dtype.kind == "f")


def column(dtype: type[np.generic]) -> Any:
    """Return a dataclass field for a column that is not float64."""
    return field(metadata={"dtype": dtype})
