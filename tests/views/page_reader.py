"""Pages as other programs read them: the standard library's HTML parser, and a browser."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from html import escape, unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest

VOID = {"meta", "br", "link", "img"}


class Reader(HTMLParser):
    """The elements of a page with their attributes, and its rows as cells of text.

    Raises AssertionError where tags are not closed in order.
    """

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.rows: list[list[tuple[str, str]]] = []
        self.texts: list[str] = []
        self._open: list[str] = []
        self.feed(page)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.elements.append((tag, given))
        if tag not in VOID:
            self._open.append(tag)
        if tag == "tr":
            self.rows.append([("until", given.get("data-until", ""))])
        if tag in ("td", "th"):
            self.rows[-1].append((given.get("class", ""), ""))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag
        if tag in ("td", "th", "p", "h1", "h2"):
            self.texts.append(" ")

    def handle_data(self, data: str) -> None:
        if {"style", "script"} & {*self._open}:
            return
        self.texts.append(data)
        if "td" in self._open or "th" in self._open:
            kind, before = self.rows[-1][-1]
            self.rows[-1][-1] = (kind, before + data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.texts).split())

    def lines(self) -> Iterator[tuple[str, str, str, str, str]]:
        """Place, machines, standing, until and what is said, of each line below the tasks."""
        place = ""
        for row in self.rows:
            cells = dict(row)
            if "stand" not in cells or cells["stand"] == "standing":
                continue
            place = cells.get("place", place)
            yield place, cells["machine"], cells["stand"], cells["until"], row[-1][1]


def browser() -> str:
    """The path of a Chromium; the test is skipped where there is none."""
    names = ("chromium", "chromium-browser", "google-chrome")
    found = next((path for name in names if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no Chromium is installed")
    return found


def dumped(page: Path, width: int, height: int, *, dark: bool = False) -> str:
    """The page as it stands in a browser's window after its script ran."""
    command = [
        browser(),
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        f"--user-data-dir={page.parent / 'profile'}",
        f"--blink-settings=preferredColorScheme={0 if dark else 1}",
        f"--window-size={width},{height}",
        "--dump-dom",
        page.as_uri(),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert "<body" in done.stdout, done.stderr
    return done.stdout


def measured(folder: Path, page: str, size: tuple[int, int], *, dark: bool) -> dict[str, str]:
    """What a window of this size shows of a page: how wide and high it is, and what is cut off.

    The page stands in a frame, since a browser makes no window as narrow as a phone.
    """
    width, height = size
    page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    page = page.replace("</head>", f"<script>{_MEASURE}</script></head>")
    around = folder / "around.html"
    around.write_text(
        '<!DOCTYPE html><html style="color-scheme: light dark"><body style="margin: 0">'
        f'<iframe width="{width}" height="{height}" style="border: 0" '
        f'srcdoc="{escape(page)}"></iframe></body></html>'
    )
    done = dumped(around, 2000, 1200, dark=dark)
    return {name: unescape(value) for name, value in _MEASURED.findall(done.split("<body")[0])}


_MEASURED = re.compile(r'data-([a-z]+)="([^"]*)"')

_MEASURE = """
window.addEventListener("load", function () {
  var root = document.documentElement, around = parent.document.documentElement, cut = [];
  Array.prototype.forEach.call(document.querySelectorAll("body *"), function (one) {
    var box = one.getBoundingClientRect(), inline = getComputedStyle(one).display === "inline";
    if (box.right > innerWidth + 1 || box.left < -1 ||
        !inline && one.scrollWidth > one.clientWidth + 1) {
      cut.push(one.tagName + " " + one.className + " " + one.textContent.slice(0, 40));
    }
  });
  around.setAttribute("data-inner", innerWidth);
  around.setAttribute("data-wide", root.scrollWidth);
  around.setAttribute("data-high", root.scrollHeight);
  around.setAttribute("data-size", parseFloat(getComputedStyle(root).fontSize));
  around.setAttribute("data-paper", getComputedStyle(document.body).backgroundColor);
  around.setAttribute("data-cut", cut.join("|"));
});
"""
