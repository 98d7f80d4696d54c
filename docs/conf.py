"""How the documentation is built: `make docs`, with every warning an error, without a network."""

from __future__ import annotations

import sys
from importlib.metadata import version as version_of
from pathlib import Path
from typing import Any

from docutils import nodes
from sphinx import addnodes
from sphinx.application import Sphinx

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

project = "infantmon"
author = "the infantmon maintainers"
project_copyright = "the infantmon maintainers, BSD-3-Clause"
version = release = version_of("infantmon")

extensions = ["myst_parser", "numpydoc", "sphinx.ext.autodoc", "sphinx.ext.autosummary"]
templates_path = ["_templates"]
exclude_patterns = [
    "_build",
    "images",
    "scripts",
    "_templates",
    # parts that other pages include
    "gallery-head.md",
    "generated/commands.md",
    "generated/tests.md",
    "generated/bench.md",
    "generated/recorded-example.md",
]

html_theme = "furo"
html_title = f"infantmon {release}"
html_static_path = ["_static"]
html_css_files = ["docs.css"]
html_show_sourcelink = False
html_copy_source = False
html_theme_options = {
    "light_css_variables": {"color-brand-primary": "#0d5567", "color-brand-content": "#0d5567"},
    "dark_css_variables": {"color-brand-primary": "#7fc4d6", "color-brand-content": "#7fc4d6"},
}

myst_heading_anchors = 3
myst_enable_extensions = ["deflist"]

default_role = "py:obj"
nitpicky = True
autosummary_generate = True
autodoc_member_order = "bysource"
autodoc_typehints = "none"  # the docstrings say shapes and units, which the types do not
autodoc_default_options = {"no-value": True}  # a table of functions is no value to read
numpydoc_show_class_members = False  # members follow the class, once
numpydoc_xref_param_type = False  # "array_like, shape (n,)" is no name to be looked up

# A class with a page of its own that stands on the page of the stages too names its sources twice.
suppress_warnings = ["ref.citation"]

# Names that a docstring mentions and that no page of this site describes. Nothing is fetched from
# other sites at build time, so what belongs to Python or to another package has no target.
nitpick_ignore_regex = [
    ("py:.*", r"(?:collections\.abc|abc|typing|enum|pydantic|numpy|pandas|typer|rich|pathlib)\..*"),
    ("py:.*", r".*[ ;'].*"),  # words in a default value are no names
    ("py:.*", r"(?:ABC|Protocol|Exception|ValueError|UserWarning|BaseModel|IntFlag|StrEnum)"),
]


def setup(app: Sphinx) -> None:
    """Make the generated parts before anything is read, and tell how short names are found."""
    app.connect("builder-inited", _make_generated, priority=100)
    app.connect("missing-reference", _by_last_name)


def _make_generated(_app: Sphinx) -> None:
    from scripts import (  # noqa: PLC0415
        commands,
        gallery,
        pictures,
        recorded_example,
        results,
        traceability,
    )

    made = HERE / "generated"
    made.mkdir(exist_ok=True)
    (made / "commands.md").write_text(commands.commands_page(), encoding="utf-8")
    names = gallery.names_in_order()
    if _older_than_code(made / "gallery.md"):  # what runs the package is made again when it changed
        pictures.make_pictures(made / "pictures")
        gallery.make_gallery(made / "gallery")
        recorded_example.make_example(made)
    listed = "\n".join(f"gallery/{name}" for name in names)
    head = (HERE / "gallery-head.md").read_text(encoding="utf-8")
    page = f"{head}\n```{{toctree}}\n:maxdepth: 1\n\n{listed}\n```\n"
    (made / "gallery.md").write_text(page, encoding="utf-8")
    (made / "tests.md").write_text(traceability.table(traceability.held()), encoding="utf-8")
    (made / "bench.md").write_text(traceability.bench_table(), encoding="utf-8")
    results.PAGE.write_text(results.results_page(), encoding="utf-8")


def _older_than_code(made: Path) -> bool:
    sources = [*(HERE.parent / "infantmon").rglob("*"), *(HERE / "scripts").glob("*.py")]
    sources += (HERE.parent / "examples").rglob("*")
    changed_at = max(path.stat().st_mtime for path in sources if "__pycache__" not in path.parts)
    return not made.is_file() or made.stat().st_mtime < changed_at


def _by_last_name(
    app: Sphinx, env: Any, node: addnodes.pending_xref, inside: nodes.Element
) -> nodes.Node | None:
    """Find a name that stands without its module, as docstrings write it.

    A name in backticks that is no public object (an argument, a column, a word of code) is shown as
    code. Names with the package in front are never let off: a wrong one fails the build.
    """
    if node.get("refdomain") != "py":
        return None
    wanted = str(node.get("reftarget", ""))
    objects = env.get_domain("py").objects
    ends = [name for name in objects if name == wanted or name.endswith(f".{wanted}")]
    if len(ends) == 1 or (ends and len({objects[name].docname for name in ends}) == 1):
        found = objects[ends[0]]
        docname = str(node.get("refdoc", env.docname))
        target = app.builder.get_relative_uri(docname, found.docname) + "#" + found.node_id
        return nodes.reference("", "", inside, internal=True, refuri=target, reftitle=ends[0])
    if node.get("reftype") == "obj" and not wanted.startswith("infantmon."):
        return inside
    return None
