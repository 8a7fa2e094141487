"""Checks of HTML files that go to paper: valid, asking for nothing, and what Chromium prints of them."""

from __future__ import annotations

import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest

from support.processes import CHROMIUM_FLAGS

PAPER_PT = {
    "A4": (595, 842),
    "Letter": (612, 792),
}  # ISO 216 210 x 297 mm; ANSI/ASME Y14.1 A, 8.5 x 11 in


class Seen(HTMLParser):
    """Tags, attributes and text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.words = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, k, v or "") for k, v in attrs]

    def handle_data(self, data):
        self.words += data + " "


def check_valid(text: str) -> None:
    """By the parser of the HTML standard (html5lib, strict: it raises at every parse error)."""
    html5lib = pytest.importorskip("html5lib", reason="html5lib is not installed")
    html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)


def check_asks_for_nothing(text: str) -> None:
    seen = Seen(text)
    assert not {"script", "link", "img", "iframe", "object", "embed", "base", "form"} & set(
        seen.tags
    )
    for tag, name, value in seen.attributes:
        assert name not in ("src", "srcset", "href", "action", "background", "data", "poster"), (
            tag,
            name,
        )
        assert not name.startswith("on"), (tag, name)
        assert not re.search(r"https?:|//|url\(", value), (tag, name, value)
    style = text[text.index("<style>") : text.index("</style>")]
    assert "@import" not in style and "url(" not in style


def printed(html: str, folder: Path, paper: str) -> bytes:
    """The PDF that Chromium makes of a page on this paper."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("needs chromium: apt-get install chromium")
    page, out = folder / f"{paper}.html", folder / f"{paper}.pdf"
    page.write_text(html.replace("@page {", f"@page {{ size: {paper};", 1), "utf-8")
    subprocess.run(
        [chromium, *CHROMIUM_FLAGS, "--no-pdf-header-footer", f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={out}", page.as_uri()],
        check=True, capture_output=True, timeout=600,
    )  # fmt: skip
    return out.read_bytes()


def pages(pdf: bytes) -> int:
    """Leaves of the page tree (ISO 32000-1, 7.7.3.2: /Count)."""
    return max(int(n) for n in re.findall(rb"/Type\s*/Pages\b[^>]*?/Count\s+([0-9]+)", pdf) or
               re.findall(rb"/Count\s+([0-9]+)", pdf))  # fmt: skip


def size(pdf: bytes) -> tuple[int, int]:
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([0-9.]+) ([0-9.]+)", pdf)
    assert box
    return round(float(box[1])), round(float(box[2]))
