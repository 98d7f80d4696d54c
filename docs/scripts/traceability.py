"""Which test holds which clause: a table from the docstrings of the tests.

A test names its source in its docstring (or in that of its module). This script reads the tests
without running them, so the table cannot claim what no test says of itself.
"""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
TESTS = ROOT / "tests"

STANDARDS = (
    ("ANSI/AAMI EC57", r"EC57(?:\s*\(1998[^)]*\))?"),
    ("ANSI/AAMI EC13", r"EC13(?::\d{4})?"),
    ("IEC 60601-1-8", r"IEC 60601-1-8"),
    ("IEC 60601-2-27", r"IEC 60601-2-27"),
    ("ISO 80601-2-61", r"(?:ISO|IEC) 80601-2-\d+"),
    ("21 CFR 868.2377", r"21 CFR 868\.2377"),
    ("21 CFR 870.2300", r"21 CFR 870\.2300"),
    ("EDF and EDF+", r"published EDF[^.;]*specification"),
    ("WFDB manual", r"WFDB[^.;]*(?:manual|header\(5\)|signal\(5\)|annot\(5\)|page)"),
    (
        "published papers",
        (
            r"(?:Arch Dis Child|Pediatrics|J Pediatr|Physiol Meas|Lancet|Acta|IEEE[^.;]*"
            r"|Biomed[^.;]*)[^.;]{0,40}\d{4};\d+"
        ),
    ),
)
"""Names of the standards and the words by which a docstring names them."""

CLAUSE = re.compile(r"[\s,]*(?:clause\s*)?(\d+(?:\.\d+)+(?:\s*\([a-z]\))?)")


@dataclass(frozen=True)
class Held:
    """A test that names a source."""

    standard: str
    clause: str
    test: str
    words: str


def held(folder: Path = TESTS) -> list[Held]:
    """Return every test that names a standard, in order of standard, clause and test."""
    found: list[Held] = []
    for path in sorted(folder.glob("test_*.py")):
        found += _of_module(path)
    order = [name for name, _ in STANDARDS]
    return sorted(found, key=lambda one: (order.index(one.standard), one.clause, one.test))


def _of_module(path: Path) -> Iterator[Held]:
    module = ast.parse(path.read_text(encoding="utf-8"))
    told = ast.get_docstring(module) or ""
    tests = [node for node in ast.walk(module) if _is_test(node)]
    for name, clause in _named(told):
        words = _naming(told, name)
        yield Held(name, clause, f"{path.name} (all {len(tests)} tests)", words)
    for test in tests:
        words = ast.get_docstring(test) or ""
        for name, clause in _named(words):
            yield Held(name, clause, f"{path.name}::{test.name}", _first_line(words))


def _is_test(node: ast.AST) -> bool:
    return isinstance(node, ast.FunctionDef) and node.name.startswith("test_")


def _named(text: str) -> Iterator[tuple[str, str]]:
    flat = " ".join(text.split())
    for name, pattern in STANDARDS:
        match = re.search(pattern, flat)
        if match is None:
            continue
        after = CLAUSE.match(flat, match.end())
        yield name, after.group(1) if after else ""


def _naming(text: str, standard: str) -> str:
    """Return the first paragraph, and the one that names a standard where it is another."""
    paragraphs = [" ".join(part.split()) for part in text.split("\n\n")]
    naming = [part for part in paragraphs if standard in (name for name, _ in _named(part))]
    return " ".join(dict.fromkeys([paragraphs[0], *naming[:1]]))


def _first_line(text: str) -> str:
    return " ".join(text.split("\n\n", maxsplit=1)[0].split())


def table(found: list[Held]) -> str:
    """Return the tests as Markdown, a section a standard."""
    by_standard: dict[str, list[Held]] = defaultdict(list)
    for one in found:
        by_standard[one.standard].append(one)
    sections = []
    for standard, rows in by_standard.items():
        lines = [f"## {standard}", "", "| clause | what the test says | test |", "|---|---|---|"]
        lines += [f"| {r.clause or '-'} | {_cell(r.words)} | `{r.test}` |" for r in rows]
        sections.append("\n".join(lines))
    missing = [name for name, _ in STANDARDS if name not in by_standard]
    if missing:
        sections.append(f"No test names: {', '.join(missing)}.")
    return "\n\n".join(sections) + "\n"


def bench_table() -> str:
    """Return the trials of the self-test with their sources, as Markdown."""
    from infantmon.selftest.bench import TRIALS  # noqa: PLC0415 - only where the docs are built

    lines = ["| trial | limit | source |", "|---|---|---|"]
    lines += [f"| {_cell(t.name)} | {_cell(t.limit)} | {_cell(t.source)} |" for t in TRIALS]
    return "\n".join(lines) + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("*", "\\*").replace("<", "&lt;").replace("_", "\\_")
