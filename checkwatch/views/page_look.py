"""How a page for a wall or a phone looks, and how it forgets: style, script and frame.

A state is carried by its word, then by its mark, then by its colour. The hues are those of the
board (words.py), on light ground darkened until text in them is read easily: at least 4.5 to 1,
which is what W3C asks of text ("Web Content Accessibility Guidelines 2.2", 1.4.3). The script
takes every standing away that is older than two minutes; without it the page says so itself.
"""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256
from typing import NamedTuple

from checkwatch.core.states import Standing
from checkwatch.views.page_fit import Fit
from checkwatch.views.paper import text
from checkwatch.views.words import LOOKS

_STYLE = """
:root {
  color-scheme: light dark;
  --paper: #ffffff; --ink: #111111; --quiet: #595959; --line: #c4c4c4;
  --limited: #0f5f8a; --exception: #8a2f63; --stop: #d55e00; --on-stop: #000000;
}
@media (prefers-color-scheme: dark) {
  :root {
    --paper: #101214; --ink: #f2f2f2; --quiet: #a8a8a8; --line: #44484c;
    --limited: #56b4e9; --exception: #cc79a7; --stop: #d55e00; --on-stop: #000000;
  }
}
* { box-sizing: border-box; }
html { font-size: 17px; }
body {
  margin: 0 auto; padding: .8rem; background: var(--paper); color: var(--ink);
  font-family: system-ui, "DejaVu Sans", sans-serif; line-height: 1.3;
  font-variant-numeric: tabular-nums; overflow-wrap: anywhere;
}
h1, h2, p { margin: 0; }
h1 { font-size: 1.7rem; line-height: 1.15; }
h2 { font-size: 1.1rem; margin-top: 1rem; }
a { color: inherit; }
.quiet, .withdrawn { color: var(--quiet); }
.limited { color: var(--limited); font-weight: 600; }
.by-exception { color: var(--exception); font-weight: 600; }
.not-cleared { background: var(--stop); color: var(--on-stop); font-weight: 700; padding: 0 .3em; }
.unknown, .doubt, .late { font-weight: 700; }
.doubt, .late { font-size: 1.3rem; border: .15em solid; padding: .3em .5em; margin: .4em 0; }
.asof b { font-size: 1.7em; }
.late-page .asof { color: var(--quiet); text-decoration: line-through; }
.wait td.stand, .wait .fades { visibility: hidden; }
table { width: 100%; border-collapse: collapse; text-align: left; }
th, td { vertical-align: baseline; padding: .16em .6em .16em 0; font-weight: inherit; }
thead th { color: var(--quiet); font-size: .8em; border-bottom: 1px solid var(--line); }
tbody { border-bottom: 1px solid var(--line); }
.place { font-weight: 700; }
thead .place { font-weight: inherit; }
.stand { white-space: nowrap; }
i { font-style: normal; }
.tag { display: inline-block; max-width: 100%; }
.counts span, .areas span { white-space: nowrap; }
.areas td { overflow-wrap: break-word; }
footer { margin-top: .8rem; font-size: .85rem; color: var(--quiet); }
@media (max-width: 999px) {
  table, tbody, tr, th, td { display: block; padding: 0; }
  .parts tr + tr { margin-top: .2em; }
  thead { display: none; }
  tbody { padding: .35em 0; }
  .machine, .stand, .minutes, .since { display: inline-block; margin-right: .6em; }
  .tasks .place { display: inline-block; margin-right: .6em; }
  .tasks tr, .areas tr { margin-top: .4em; }
  .areas td:last-child:not(:empty)::after { content: " to do now"; }
  .asof b { font-size: 1.45em; }
  td:empty { display: none; }
}
@media (min-width: 1000px) {
  html { font-size: clamp(13px, min(var(--size) * 1vh, var(--size) * .5625vw), 90px); }
  body { padding: 1.4vh 1.2vw; }
  header { display: flex; flex-wrap: wrap; justify-content: space-between; column-gap: 3vw; }
  header h1 { font-size: max(1.3rem, 5.2vh); }
  .title { font-size: max(.9rem, 2vh); }
  .asof { text-align: right; font-size: max(.9rem, 2.6vh); }
  .asof b { font-size: max(1.5rem, 5.6vh); line-height: 1.15; }
  .counts { font-size: max(1rem, 3.2vh); }
  .late, .doubt { font-size: 3.2vh; }
  h2 { margin-top: .5rem; }
  .parts { display: grid; gap: 0 2.2vw; align-items: start; margin-top: .5rem; }
  .parts { grid-template-columns: repeat(var(--parts), minmax(0, 1fr)); }
  .parts table { table-layout: fixed; }
  .parts .place, .areas .place, .tasks .place { width: var(--place); }
  .parts .machine, .tasks .machine { width: var(--machine); }
  .parts .stand { width: 9.2rem; }
  .minutes, .since { white-space: nowrap; width: 1%; padding-right: 1.5em; }
  footer { font-size: max(.7rem, 1.6vh); }
}
@media (min-width: 1000px) and (orientation: portrait) {
  html { font-size: clamp(14px, var(--size) * .9vw, 60px); }
  .parts { grid-template-columns: minmax(0, 1fr); }
}
"""

# Hidden until its age was looked at, and again whenever the page is out of sight, so that a
# computer that wakes shows nothing from before its sleep.
_SCRIPT = """
(function () {
  "use strict";
  var root = document.documentElement, most = 120000, time = null, gone = false;
  function each(inside, what, act) {
    Array.prototype.forEach.call(inside.querySelectorAll(what), act);
  }
  function empty(part) { part.textContent = ""; }
  function blank(why) {
    gone = true;
    each(document, "td.stand", function (cell) { cell.textContent = "?"; });
    each(document, ".fades", empty);
    var told = document.getElementById("late");
    told.textContent = why + ": standings are not known";
    told.hidden = false;
    root.className = "late-page";
  }
  function end(row) {
    row.removeAttribute("data-until");
    each(row, "td.stand", function (cell) {
      cell.innerHTML = '<span class="unknown">? unknown</span>';
    });
    each(row, ".fades", empty);
    each(document, ".counts", empty);
  }
  function look() {
    if (gone || !time) { return; }
    var now = new Date().getTime(), age = now - Date.parse(time.getAttribute("datetime"));
    var clock = time.getAttribute("data-clock");
    if (age < -most) {
      blank("this screen's clock is behind the last refresh of " + clock);
    } else if (!(age <= most) || document.timeline.currentTime > most) {
      blank("not refreshed since " + clock);
    } else {
      each(document, "[data-until]", function (row) {
        if (!(Date.parse(row.getAttribute("data-until")) > now)) { end(row); }
      });
      root.className = document.hidden ? "wait" : "";
    }
  }
  root.className = "wait";
  document.addEventListener("DOMContentLoaded", function () {
    time = document.querySelector("time");
    look();
    setInterval(look, 1000);
  });
  document.addEventListener("visibilitychange", look);
  document.addEventListener("resume", look);
  window.addEventListener("pageshow", look);
  window.addEventListener("focus", look);
  window.addEventListener("pagehide", function () { if (!gone) { root.className = "wait"; } });
}());
"""


class Frame(NamedTuple):
    """What stands around a page: its heading, the rulebook's title, and whether it is invented."""

    heading: str
    title: str
    banner: str


def shown(standing: Standing, number: str = "") -> str:
    """A standing by its word, mark and colour; with a number it is a count, which needs no mark."""
    look = LOOKS[standing]
    before = f"{number} " if number else f'<i aria-hidden="true">{text(look.mark)} </i>'
    return f'<span class="{standing.value}">{before}{look.word}</span>'


def framed(frame: Frame, below: str, body: str, fit: Fit) -> tuple[str, str]:
    """A page in two parts, between which its time belongs. `below` stands under the heading."""
    style = _STYLE + _sized(fit)
    policy = (
        f"default-src 'none'; style-src '{_digest(style)}'; script-src '{_digest(_SCRIPT)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    banner = f"<p><strong>{text(frame.banner)}</strong></p>\n" if frame.banner else ""
    title = text(frame.title, 120)
    before = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta http-equiv="refresh" content="20">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{text(frame.heading, 120)}, {title}</title>\n"
        f"<style>{style}</style>\n<script>{_SCRIPT}</script>\n</head>\n<body>\n{banner}"
        f'<header>\n<div>\n<p class="title quiet">{title}</p>\n'
        f"<h1>{text(frame.heading, 120)}</h1>\n</div>\n"
    )
    after = (
        '</header>\n<p class="late" id="late" aria-live="assertive" hidden></p>\n'
        f"{below}<main>\n{body}</main>\n</body>\n</html>\n"
    )
    return before, after


def _sized(fit: Fit) -> str:
    place, machine = (0.62 * letters + 0.6 for letters in (fit.place, fit.machine))
    return (
        f":root {{ --size: {fit.size:.1f}; --parts: {fit.parts}; "
        f"--place: {place:.1f}rem; --machine: {machine:.1f}rem; }}\n"
    )


def _digest(inline: str) -> str:
    """How a policy names the one text that it lets act ("Content Security Policy Level 3")."""
    return f"sha256-{b64encode(sha256(inline.encode()).digest()).decode()}"
