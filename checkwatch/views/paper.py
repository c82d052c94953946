"""What is printed: one HTML page that stands for itself, on A4, in black on white."""

from __future__ import annotations

from html import escape

from checkwatch.core.instant import FOREVER, Instant, wall
from checkwatch.views.words import Here, harmless, local

#: Nothing is fetched from anywhere, and nothing runs.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'"

#: A day on which nobody reads a page.
_LONG_AGO = Instant(0)

_STYLE = """
@page { size: A4; margin: 10mm; }
* { box-sizing: border-box; }
body { margin: 0; font: 10pt/1.3 sans-serif; color: #000; background: #fff; }
h1 { font-size: 15pt; margin: 0 0 1mm; }
h2 { font-size: 11pt; margin: 3mm 0 1mm; }
p { margin: 0 0 1mm; }
.small { font-size: 8.5pt; }
@media screen { body { width: 190mm; margin: 8mm auto; } }
"""


def page(title: str, style: str, body: str, banner: str = "") -> str:
    """A whole page; `body` is HTML in which every text went through `text`."""
    head = f"<p><strong>{text(banner)}</strong></p>\n" if banner else ""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        f"<title>{text(title)}</title>\n<style>{_STYLE}{style}</style>\n</head>\n"
        f"<body>\n{head}{body}\n</body>\n</html>\n"
    )


class OnPaper(Here):
    """A place to read from where no day is today and no time is told as from now; the year of the
    moment that was asked about is left out."""

    def local(self, instant: Instant) -> str:
        """The local time with its day."""
        whole = day_and_time(instant, self)
        year = wall(self.asked, self.zone).year
        if instant >= FOREVER or wall(instant, self.zone).year != year:
            return whole
        return whole.replace(f" {year} ", " ", 1)

    def when(self, instant: Instant) -> str:
        """The local time alone."""
        return self.local(instant)


def day_and_time(instant: Instant, here: Here) -> str:
    """An instant with its day and year: paper is read on other days."""
    return local(instant, here.zone, _LONG_AGO)


def text(written: str, limit: int = 1_000) -> str:
    """What somebody wrote, as text of a page and nothing else."""
    return escape(harmless(written, limit))
