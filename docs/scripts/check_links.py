"""No dead link inside the built site, and nothing that a page asks of elsewhere.

Run `python docs/scripts/check_links.py docs/_build/html`.
"""

from __future__ import annotations

import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

ASKING = {("script", "src"), ("img", "src"), ("link", "href"), ("iframe", "src"), ("source", "src")}
"""What a browser fetches by itself, unlike a link that a reader follows."""


class _Page(HTMLParser):
    """Gathers the names and the links of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: set[str] = set()
        self.links: list[tuple[str, str, str]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if value is None:
                continue
            if name in ("id", "name"):
                self.ids.add(value)
            elif name in ("href", "src"):
                self.links.append((tag, name, value))


def faults_of(site: Path) -> tuple[list[str], int]:
    """Return what is wrong with a built site, and how many links were looked at."""
    pages = {
        path.resolve(): _Page(path.read_text(encoding="utf-8"))
        for path in sorted(site.rglob("*.html"))
    }
    faults = [
        f"{path.relative_to(site.resolve())}: {fault}"
        for path, page in pages.items()
        for link in page.links
        if (fault := _fault(path, *link, pages=pages))
    ]
    return faults, sum(len(page.links) for page in pages.values())


def _fault(
    path: Path, tag: str, attribute: str, link: str, *, pages: dict[Path, _Page]
) -> str | None:
    parts = urlsplit(link)
    if parts.scheme or parts.netloc:
        asks = (tag, attribute) in ASKING and parts.scheme != "data"
        return f"<{tag}> asks for {link}" if asks else None
    target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
    if target.is_dir():
        target /= "index.html"
    if not target.is_file():
        return f"{link} leads nowhere"
    page = pages.get(target)
    if parts.fragment and page is not None and unquote(parts.fragment) not in page.ids:
        return f"{link}: that page has no such place"
    return None


def main() -> int:
    """Print the faults; return 1 if there is any, or nothing to look at."""
    site = Path(sys.argv[1])
    faults, count = faults_of(site)
    print(*faults, f"{count} links looked at, {len(faults)} faults", sep="\n")  # noqa: T201
    return 1 if faults or not count else 0


if __name__ == "__main__":
    sys.exit(main())
