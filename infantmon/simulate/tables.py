"""From the tables of a scenario file to objects, with every fault noted instead of the first."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field
from typing import Any

from infantmon.errors import ArgumentError
from infantmon.simulate.words import AS_BEFORE, PARTS, PLAUSIBLE, SHOWN

_PLAIN: dict[str, tuple[type[Any], ...]] = {
    "float": (int, float),
    "int": (int,),
    "bool": (bool,),
    "str": (str,),
}
_FAULTY = object()


@dataclass
class Reader:
    """Makes objects of tables and notes what is wrong with them.

    Attributes
    ----------
    faults : list of str
        Every fault so far: where, what, and what is expected.
    """

    faults: list[str] = field(default_factory=list)

    def made(
        self, kind: type[Any], table: object, where: str, usual: Mapping[str, Any] | None = None
    ) -> Any:
        """Return an object of a table's fields, or None after noting what is wrong.

        Parameters
        ----------
        kind : type
            A dataclass.
        table : object
            What the file holds there.
        where : str
            What to call the place.
        usual : mapping or None
            Values for fields that the table does not give.
        """
        if not isinstance(table, Mapping):
            self.faults.append(f"{where}: is {table!r}; a table is expected.")
            return None
        before = len(self.faults)
        values = self._values(kind, {**(usual or {}), **table}, where)
        self._try_each(kind, values, where)
        if len(self.faults) > before:
            return None
        return self._tried(kind, values, where)

    def named(
        self, words: Mapping[str, type[Any]], table: object, key: str, where: str
    ) -> tuple[type[Any], dict[str, Any]] | None:
        """Return the class that a table names under a key, and the rest of the table."""
        if not isinstance(table, Mapping):
            self.faults.append(f"{where}: is {table!r}; a table is expected.")
            return None
        word = table.get(key)
        if not isinstance(word, str) or word not in words:
            seen = "is missing" if word is None else f"is {word!r}"
            self.faults.append(f"{where}: {key} {seen}; one of {', '.join(words)} is expected.")
            return None
        return words[word], {name: value for name, value in table.items() if name != key}

    def _values(self, kind: type[Any], table: Mapping[str, Any], where: str) -> dict[str, Any]:
        fields = {f.name: f for f in dataclasses.fields(kind)}
        values = {}
        for name, value in table.items():
            if name not in fields:
                self.faults.append(
                    f"{where}: {name} is not known here; known are {', '.join(fields)}."
                )
                continue
            found = self._value(str(fields[name].type), value, f"{where}, {name}")
            if found is not _FAULTY:
                values[name] = found
        for name, of in fields.items():
            required = of.default is MISSING and of.default_factory is MISSING
            if required and name not in table:
                self.faults.append(f"{where}: {name} is missing.")
        return values

    def _value(self, kind: str, value: object, where: str) -> Any:
        if kind in _PLAIN:
            right = isinstance(value, _PLAIN[kind])
            if not right or (isinstance(value, bool) and kind != "bool"):
                self.faults.append(f"{where}: is {value!r}; a {kind} is expected.")
                return _FAULTY
            return float(value) if kind == "float" else value  # type: ignore[arg-type]
        if kind == "Shown | None":
            return self._shown(value, where)
        made = self.made(PARTS[kind], value, where)
        return _FAULTY if made is None else made

    def _shown(self, value: object, where: str) -> Any:
        if value == AS_BEFORE:
            return None
        found = self.named(SHOWN, value, "shows", where)
        made = None if found is None else self.made(found[0], found[1], where)
        return _FAULTY if made is None else made

    def _try_each(self, kind: type[Any], values: dict[str, Any], where: str) -> None:
        """Check each value among plausible ones, so that one fault does not hide another."""
        fields = dataclasses.fields(kind)
        required = {f.name: PLAUSIBLE[f.name] for f in fields if f.name in PLAUSIBLE}
        plain = {f.name: required[f.name] for f in fields if f.default is MISSING}
        for name, value in values.items():
            self._tried(kind, {**plain, name: value}, where)

    def _tried(self, kind: type[Any], values: dict[str, Any], where: str) -> Any:
        try:
            return kind(**values)
        except ArgumentError as fault:
            self.faults.append(f"{where}: {fault}")
            return None
