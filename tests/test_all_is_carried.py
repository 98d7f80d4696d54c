"""Nothing that changes from push to push is left out of `carried`, in any class of the package.

An attribute left out is at its first value after a resume: the stream goes on, and differs from one
that was never saved, but only for as long as that attribute matters. So it is looked for in the
source, where it cannot hide, and not only by cutting streams.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import sys
import textwrap
from collections.abc import Iterator, Mapping
from pathlib import Path

import infantmon
from infantmon.dsp.beat_train import BeatTrain
from infantmon.model.carried import Carried

NOT_CARRIED = {
    "HeartRateRule._side": "of the piece in work",
    "History._spans": "answers, looked up anew",
    "Kept._waiting": "joined to the samples before each snapshot",
    "PauseRule._doubts": "of the piece in work",
    "RecalledDoubts._place": "of many plans over stored findings, never saved",
    "RecalledDoubts._told": "likewise",
    "Stage._ended": "in the snapshot itself, beside what is carried",
    "UsualSize._median": "found anew from the sizes",
    "UsualSize._unlikeness": "found anew from the sizes",
}
"""Attributes that change and yet need not be saved, by class, each with the reason."""

CHANGING = {
    "add", "append", "appendleft", "clear", "discard", "extend", "insert", "pop", "popleft",
    "push", "remove", "setdefault", "sort", "update",
}  # fmt: skip
"""Methods that change a list, a deque, a dictionary, a set, or what carries state itself."""


def classes_that_carry() -> list[type[Carried]]:
    """Return every class of the package that carries state."""
    package = Path(infantmon.__file__).parent
    for path in sorted(package.rglob("*.py")):
        if "Carried" in path.read_text() or "Stage)" in path.read_text():
            parts = path.relative_to(package.parent).with_suffix("").parts
            importlib.import_module(".".join(parts))
    found: list[type[Carried]] = []
    waiting: list[type[Carried]] = [Carried]
    while waiting:
        kinds = waiting.pop().__subclasses__()
        waiting += kinds
        found += [kind for kind in kinds if kind.__module__.startswith("infantmon.")]
    return list(dict.fromkeys(found))


def own(node: ast.AST) -> Iterator[str]:
    """Yield the attributes of `self` that a target of an assignment sets, whole or in part."""
    if isinstance(node, (ast.Tuple, ast.List)):
        for part in node.elts:
            yield from own(part)
    elif isinstance(node, (ast.Starred, ast.Subscript)):
        yield from own(node.value)
    elif isinstance(node, ast.Attribute) and getattr(node.value, "id", "") == "self":
        yield node.attr


def changed_by(method: ast.FunctionDef) -> set[str]:
    """Return the attributes of `self` that a method assigns, or calls a changing method of."""
    names: set[str] = set()
    for node in ast.walk(method):
        if isinstance(node, ast.Assign):
            names.update(name for target in node.targets for name in own(target))
        elif isinstance(node, (ast.AugAssign, ast.AnnAssign)):
            names.update(own(node.target))
        elif isinstance(node, ast.Delete):
            names.update(name for target in node.targets for name in own(target))
        elif isinstance(node, ast.Call) and getattr(node.func, "attr", "") in CHANGING:
            names.update(own(node.func.value))
    return names


def parts_of(method: ast.FunctionDef, known: Mapping[str, object]) -> set[str]:
    """Return the attributes that a method fills with an object that itself carries state."""
    names: set[str] = set()
    for node in ast.walk(method):
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Call):
            maker = known.get(getattr(node.value.func, "id", ""))
            if inspect.isclass(maker) and issubclass(maker, Carried):
                names.update(name for target in node.targets for name in own(target))
    return names


def changing(kind: type[Carried]) -> set[str]:
    """Return the attributes of a class that change after it was made."""
    (tree,) = ast.parse(textwrap.dedent(inspect.getsource(kind))).body
    assert isinstance(tree, ast.ClassDef)
    known = vars(sys.modules[kind.__module__])
    found: set[str] = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            made = node.name in ("__init__", "restore")
            found |= parts_of(node, known) if made else changed_by(node)
    return found


def test_the_classes_are_found():
    names = {kind.__name__ for kind in classes_that_carry()}
    assert len(names) > 60
    assert {"RPeakDetector", "BreathingRate", "LeadFusion", "BeatTrain", "Watch"} <= names


def test_what_changes_is_carried_or_named_with_a_reason():
    left_out = {
        f"{kind.__name__}.{name}"
        for kind in classes_that_carry()
        for name in changing(kind) - set(kind.carried)
    }
    assert left_out == set(NOT_CARRIED)


class Forgetful(Carried):
    """A class with every fault that is looked for."""

    carried = ("_count",)

    def __init__(self):
        self._count, self._last, self._latest, self._sizes, self._parts = 0, 0.0, 0.0, [], {}
        self._train = BeatTrain()

    def push(self, values):
        self._count += 1
        self._last, self._latest = values[0], values[-1]
        self._sizes.append(len(values))
        self._parts["last"] = values


def test_a_forgotten_attribute_is_found():
    forgotten = changing(Forgetful) - set(Forgetful.carried)
    assert forgotten == {"_last", "_latest", "_sizes", "_parts", "_train"}
