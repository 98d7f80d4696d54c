"""Every public name says what goes in, what comes out, in which shape and unit, and what it raises.

The door is looked at name by name: what `import infantmon` gives, and what the packages that a user
is sent to export. Rules of numpydoc (the numpydoc guide, section "Docstring Standard").
"""

from __future__ import annotations

import ast
import importlib
import inspect
import re
import sys
import textwrap
from collections.abc import Callable, Iterator

import pytest

import infantmon
from infantmon import stages

DOORS = (
    "infantmon",
    "infantmon.formats",
    "infantmon.simulate",
    "infantmon.scoring",
    "infantmon.reviewing",
    "infantmon.what_if",
    "infantmon.events.rule_sets",
    "infantmon.stages.bandpass",
    "infantmon.stages.breaths",
    "infantmon.stages.cardiac_artifact",
    "infantmon.stages.checks",
    "infantmon.stages.contact",
    "infantmon.stages.contract",
    "infantmon.stages.heart_rate",
    "infantmon.stages.r_peaks",
    "infantmon.report.page",
    "infantmon.report.drawing",
    "infantmon.report.event_files",
    "infantmon.report.export",
    "infantmon.report.files",
    "infantmon.event_store",
    "infantmon.recorder",
)
"""Packages and modules whose names a user calls."""


def names() -> Iterator[tuple[str, object]]:
    """Yield every public function and class of the doors, and the methods of the classes, once."""
    seen: set[int] = set()
    for door in DOORS:
        module = importlib.import_module(door)
        for name in getattr(module, "__all__", None) or vars(module):
            thing = getattr(module, name)
            if name.startswith("_") or id(thing) in seen or not callable(thing):
                continue
            home = getattr(thing, "__module__", "")
            if not home.startswith("infantmon") or (door != "infantmon" and not is_of(home, door)):
                continue
            seen.add(id(thing))
            yield f"{home}.{name}", thing
            if inspect.isclass(thing):
                yield from methods(f"{home}.{name}", thing)


def is_of(home: str, door: str) -> bool:
    return home == door or home.startswith(f"{door}.")


def methods(home: str, kind: type) -> Iterator[tuple[str, object]]:
    for name, value in vars(kind).items():
        inner = value.__func__ if isinstance(value, (classmethod, staticmethod)) else value
        if not name.startswith("_") and inspect.isfunction(inner):
            yield f"{home}.{name}", inner


NAMES = dict(names())
FUNCTIONS = {name: thing for name, thing in NAMES.items() if inspect.isfunction(thing)}
CLASSES = {name: thing for name, thing in NAMES.items() if inspect.isclass(thing)}


def sections(thing: object) -> dict[str, str]:
    """Return the parts of a docstring by their underlined heads; the first is the summary."""
    told = inspect.getdoc(thing) or ""
    parts = re.split(r"^(\w[\w ]+)\n-+$", told, flags=re.MULTILINE)
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def asked(function: Callable[..., object]) -> list[str]:
    """Return the parameters of a function that a caller gives."""
    return [p for p in inspect.signature(function).parameters if p not in ("self", "cls")]


def tree_of(function: Callable[..., object]) -> ast.AST:
    return ast.parse(textwrap.dedent(inspect.getsource(function)))


def raises(function: Callable[..., object]) -> bool:
    """Tell whether the function itself refuses something: it raises, or calls a `require_...`."""
    for node in ast.walk(tree_of(function)):
        if isinstance(node, ast.Raise) and node.exc is not None:
            called = node.exc.func if isinstance(node.exc, ast.Call) else node.exc
            if getattr(called, "id", "") != "NotImplementedError":
                return True
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            if name.lstrip("_").startswith("require"):
                return True
    return False


def is_check(name: str) -> bool:
    """Tell whether it is one of the shipped checks, which all raise the same."""
    return name.startswith("infantmon.stages.checks.")


def test_there_is_something_to_look_at() -> None:
    assert len(FUNCTIONS) > 150
    assert len(CLASSES) > 50
    assert set(infantmon.__all__) <= {name.rpartition(".")[2] for name in NAMES} | {"__version__"}


def test_every_name_has_a_docstring_of_its_own() -> None:
    bare = [name for name, thing in NAMES.items() if not (vars_doc(thing) or "").strip()]
    assert bare == []


def vars_doc(thing: object) -> str | None:
    return vars(thing).get("__doc__") if inspect.isclass(thing) else thing.__doc__


def test_every_parameter_is_described() -> None:
    """In its section, or once for a family of functions in the docstring of their module.

    A single parameter may be told in the summary.
    """
    missing = []
    for name, function in FUNCTIONS.items():
        parts, wanted = sections(function), asked(function)
        told = parts.get("Parameters", "" if len(wanted) > 1 else parts[""]) + family(function)
        missing += [f"{name}: {one}" for one in wanted if not says(told, one)]
    assert missing == []


def family(function: Callable[..., object]) -> str:
    """Return the paragraphs of the module's docstring that tell of parameters, if there are any."""
    told = inspect.getdoc(sys.modules[function.__module__]) or ""
    return "\n".join(part for part in told.split("\n\n")[1:] if "`" in part)


def says(told: str, parameter: str) -> bool:
    return re.search(rf"(?<!\w){re.escape(parameter)}(?!\w)", told) is not None


def test_what_a_function_returns_is_described() -> None:
    """In a section, or in a summary that begins with what is returned."""
    silent = []
    for name, function in FUNCTIONS.items():
        returned = inspect.signature(function).return_annotation
        told = sections(function)
        if returned in ("None", "Self", None, inspect.Signature.empty) or "Returns" in told:
            continue
        begins = re.search(r"\b(return|yield|tell|say|give|whether|join|cut|push)", told[""], re.I)
        if "Yields" not in told and begins is None:
            silent.append(name)
    assert silent == []


def test_what_a_function_raises_is_described() -> None:
    silent = [
        name
        for name, function in FUNCTIONS.items()
        if raises(function)
        and "Raises" not in sections(function)
        and not (is_check(name) and "raises `AssertionError`" in (stages.checks.__doc__ or ""))
    ]
    assert silent == []


def test_arrays_have_shapes() -> None:
    """Where a parameter or result is an array, its shape stands in the docstring."""
    bare = []
    for name, function in FUNCTIONS.items():
        hints = [str(v) for v in getattr(function, "__annotations__", {}).values()]
        arrays = any(re.search(r"ArrayLike|Floats|Ints|Bools|ndarray", hint) for hint in hints)
        told = (inspect.getdoc(function) or "") + family(function)
        if arrays and "shape" not in told and "scalar" not in told:
            bare.append(name)
    assert bare == []


@pytest.mark.parametrize("name", sorted(CLASSES))
def test_a_class_describes_what_it_is_made_of(name: str) -> None:
    """A dataclass of several fields names each in its docstring."""
    kind = CLASSES[name]
    fields = [field for field in getattr(kind, "__dataclass_fields__", {}) if field[0] != "_"]
    told = inspect.getdoc(kind) or ""
    own = [field for field in fields if field in vars(kind).get("__annotations__", {})]
    beside = inspect.getsource(kind)  # a field may be told right below it
    silent = [
        field
        for field in own
        if not says(told, field) and not re.search(rf'{field}:[^\n]*\n\s+"""', beside)
    ]
    assert len(own) <= 1 or silent == []
