"""The fleet on a screen too narrow for columns, such as a telephone's: two lines for each item.

The first names the place and its machines, the second begins with the standing and its end. These
are never cut; whatever else there is to say takes what room is left.
"""

from __future__ import annotations

from itertools import groupby

from rich.text import Text

from checkwatch.core.instant import FOREVER, HOUR
from checkwatch.core.states import Standing
from checkwatch.views.fleet import Fleet, Item, hidden_in_numbers, items, notes_of, usable
from checkwatch.views.grid import broken, cut
from checkwatch.views.report import LONGEST, cell_text
from checkwatch.views.words import LOOKS, harmless

#: Columns of words beside each other need more than this.
NARROW = 60

_INDENT = "  "


def stacked(fleet: Fleet, width: int, room: int | None) -> list[Text]:
    """As much as fits into `room` lines of `width` columns, and what does not in numbers; without
    a `room` everything, and nothing cut."""
    found = items(fleet)
    shown = _blocks(found, fleet, width, whole=room is None)
    if room is not None and sum(map(len, shown)) > room:
        found = items(fleet, fold=True)
        shown = _blocks(found, fleet, width, whole=False)
    if room is None or sum(map(len, shown)) <= room:
        return [text for block in shown for text in block]
    fits: list[Text] = []
    number = 0
    while number < len(shown) and len(fits) + len(shown[number]) < room:
        fits += shown[number]
        number += 1
    return [*fits, hidden_in_numbers(found[number:], fleet, width)]


def _blocks(found: list[Item], fleet: Fleet, width: int, whole: bool) -> list[list[Text]]:
    """The lines of each item, the first of an area below its name."""
    blocks = []
    several = any(item.area for item in found)
    for area, inside in groupby(found, key=lambda item: item.area):
        for number, item in enumerate(inside):
            above = [Text(cut(harmless(area or "no area"), width), "bold")]
            lines = _item(item, fleet, width, whole)
            blocks.append([*above, *lines] if several and number == 0 else lines)
    return blocks


def _item(item: Item, fleet: Fleet, width: int, whole: bool) -> list[Text]:
    tags = _tags(item, width)
    place = harmless(item.place, LONGEST)
    if tags and not whole:
        # A name of a place may be cut; by a tag that is cut nobody finds the machine.
        place = cut(place, max(width - len(tags) - 2, 1))
    named = Text(f"{place}  {tags}".rstrip())
    style = LOOKS[item.standing].style
    head = Text.assemble(_INDENT, (cell_text(item.standing), style))
    until = _until(item, fleet, width - head.cell_len - 2)
    notes = "; ".join(filter(None, [until, *notes_of(item._replace(beside=()), fleet, ())]))
    if not notes:
        return [named, head]
    shown = harmless(notes, LONGEST)
    quiet = style if item.standing is Standing.WITHDRAWN else ""
    if whole:
        rest = broken(shown, max(width - 2 * len(_INDENT), 1))
        return [named, head, *(Text(f"{_INDENT * 2}{one}", quiet) for one in rest)]
    text = cut(shown, max(width - head.cell_len - 2, 1))
    return [named, head.append("  ").append(text, quiet)]


def _tags(item: Item, width: int) -> str:
    """Its machines, and the cleared ones of the place that share its lines."""
    own = " ".join(placed.machine.machine for placed in item.machines)
    if not item.beside:
        return own
    named = " ".join(placed.machine.machine for placed in item.beside)
    for beside in (f"({named} cleared)", f"({len(item.beside)} cleared)"):
        told = f"{own} {beside}".strip()
        if len(told) <= width // 2 + 5:
            break
    return told


def _until(item: Item, fleet: Fleet, room: int) -> str:
    """The end of a standing, with how far that is where there is room for it."""
    if not item.machines or any(fleet.passed(placed) for placed in item.machines):
        return ""
    first = min(placed.until for placed in item.machines)
    if first >= FOREVER:
        return "an entry ends it" if usable(item.standing) else ""
    little = usable(item.standing) and first - fleet.here.asked < HOUR
    forms = [fleet.here.when(first), fleet.here.local(first)]
    told = [f"only {form}" for form in forms] if little else []
    return next((form for form in [*told, *forms] if len(form) <= room), forms[-1])
