"""Writes logbook.csv: three weeks of invented life in Saltmere's theatres.

Ordinary days come from dice, one set for each machine and day, so that a story more or less moves
nothing else. What is worth telling stands in stories.txt. The same logbook comes out each time:

    python generate.py
"""

from __future__ import annotations

import csv
import shlex
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

HERE = Path(__file__).parent
ZONE = ZoneInfo("Europe/London")
UTC = ZoneInfo("UTC")
FIRST, LAST = date(2026, 2, 18), date(2026, 3, 11)  # the ordinary days; 12 March is all story
RENAMED = date(2026, 3, 2)  # from here the second rulebook is in force: suction is suction-test
POWER_CUT = datetime(2026, 3, 4, 11, 20, tzinfo=ZONE)  # in day surgery
MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)

THEATRES = [f"AM-{n:02}" for n in range(2, 13)]
ROOMS = [f"AM-{n:02}" for n in range(14, 18)]
DAY_SURGERY = THEATRES[6:]
PART_WEEK = "AM-11"  # Monday to Wednesday
BY_DAY, BY_NIGHT = "AM-01", "AM-13"  # the emergency theatre never stops: two machines take turns
IMAGING = "AM-18"
SPARES = ["AM-19", "AM-20", "AM-23"]
BROUGHT_OVER = [BY_DAY, BY_NIGHT, *THEATRES, *ROOMS, IMAGING, *SPARES, "AM-22"]

STAFF = ["kd", "ao", "tw", "lb", "js", "nf"]
ENGINEERS = ["pe", "hv"]
YEARLY = {"AM-07": date(2025, 3, 3), "AM-09": date(2025, 3, 25), "AM-12": date(2025, 3, 10)}
LEFT_ON = {("AM-10", date(2026, 3, 4)), ("AM-06", LAST), ("AM-11", LAST)}
#: What was fitted: its GTIN, and its lots before and since March with the last day of each.
LABELS = {
    "absorbent-change": ("00400000000015", ("G0126", "2027-12-31"), ("G0226", "2028-02-29")),
    "circuit-change": ("00400000000022", ("C1125", "2028-10-31"), ("C1125", "2028-10-31")),
}
RISING_LEAK = {"AM-09": 5, "AM-17": 4}  # mL/min each day


@dataclass
class Line:
    """One row of the logbook, and when it was written down."""

    machine: str
    what: str
    at: datetime
    written: datetime
    cells: dict[str, str] = field(default_factory=dict)


def aware(day: date, clock: str) -> datetime:
    """A time of day, as Saltmere's clocks show it."""
    return datetime.combine(day, time.fromisoformat(clock), ZONE)


def told() -> Iterator[tuple[Line, bool]]:
    """The lines of the stories, each with whether it stands beside an ordinary day."""
    day = FIRST
    for text in (HERE / "stories.txt").read_text(encoding="utf-8").splitlines():
        if text.startswith("=="):
            day = date.fromisoformat(text.split()[1])
        elif text and not text.startswith("#"):
            yield read(day, text.removeprefix("+ ")), text.startswith("+")


def read(day: date, text: str) -> Line:
    """One line of a story."""
    clock, machine, what, *rest = shlex.split(text)
    words = [word.split("=", 1) if "=" in word else ["outcome", word] for word in rest]
    cells = {"limits" if key == "limit" else key: value for key, value in words}
    at = aware(day, clock)
    written = aware(day, cells.pop("written", clock))
    for key in {"started", "until"} & cells.keys():
        cells[key] = instant(aware(day, cells[key]))
    numbers = cells.keys() & {"leak", "alarm", "battery", "reserve", "vacuum"}
    measures = ";".join(f"{key}={cells.pop(key)}" for key in sorted(numbers))
    return Line(machine, what, at, written, cells | {"measures": measures})


def instant(at: datetime) -> str:
    """ISO 8601 in UTC, which is what the logbook file holds."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


TOLD = {(line.machine, line.at.date()) for line, beside in told() if not beside}


class Today:
    """One machine on one ordinary day, with dice of its own."""

    def __init__(self, machine: str, day: date) -> None:
        self.machine, self.day = machine, day
        self.dice = Random(f"Saltmere {machine} {day}")
        self.by = self.dice.choice(STAFF)
        self.lines: list[Line] = []

    def about(self, clock: str, minutes: int = 12) -> datetime:
        """A time of day, up to so many minutes later."""
        return aware(self.day, clock) + self.dice.randint(0, minutes) * MINUTE

    def write(self, what: str, at: datetime, outcome: str = "", **cells: str) -> datetime:
        """Write a line, now and then an hour or three late; gives its instant."""
        late = self.dice.randint(50, 200) if self.dice.random() < 0.006 else 0
        person = {"by": self.by} if outcome else {}
        row = person | cells | {"outcome": outcome}
        self.lines.append(Line(self.machine, what, at, at + late * MINUTE, row))
        return at

    def leak(self) -> str:
        """What the machine leaks on this day, in mL/min."""
        usual = Random(self.machine).randint(45, 95)
        rise = RISING_LEAK.get(self.machine, 0) * (self.day - FIRST).days
        return f"leak={usual + rise + self.dice.randint(-8, 8)}"

    def self_test(self, start: datetime) -> datetime:
        """A self-test of eleven to thirteen minutes; now and then the first one fails."""
        end = start + self.dice.randint(11, 13) * MINUTE
        if self.dice.random() < 0.02:
            cells = {"measures": f"leak={self.dice.randint(305, 520)}", "note": "circuit reseated"}
            self.write("self-test", end, "fail", started=instant(start), **cells)
            start, end = end + 3 * MINUTE, end + 15 * MINUTE
        return self.write("self-test", end, "pass", started=instant(start), measures=self.leak())

    def morning(self, clock: str) -> datetime:
        """Switched on, tested, and once a week the oxygen-failure alarm and the hours."""
        on = self.about(clock)
        if not left_on(self.machine, before(self.machine, self.day)):
            self.write("power-on", on)
        end = self.self_test(on + self.dice.randint(4, 8) * MINUTE)
        if self.day.weekday() == (2 if self.machine == "AM-08" else 0):
            self.weekly(end + 6 * MINUTE)
        return end

    def weekly(self, at: datetime) -> None:
        """The oxygen-failure alarm, and the hours of use; AM-08 missed the last one."""
        if self.machine == "AM-08" and self.day == LAST:
            return
        self.write("oxygen-alarm", at, "pass", measures=f"alarm={self.dice.randint(8, 13)}")
        self.write("reading", at + MINUTE, measures=f"hours={hours(self.machine, self.day)}")

    def session(self, clock: str) -> datetime:
        """The check at the start of a session."""
        return self.write("session-check", self.about(clock, 16), "pass")

    def cases(self, start: datetime, end: datetime, longest: int = 150) -> None:
        """A list of patients, with what is changed and checked between them."""
        at = start
        while at + 35 * MINUTE < end:
            self.write("case-start", at)
            at += self.dice.randint(45, longest) * MINUTE
            at = self.write("case-end", min(at, end))
            at = self.change(at + 5 * MINUTE) + self.dice.randint(4, 9) * MINUTE
            if at + 45 * MINUTE < end and self.dice.random() < 0.85:
                self.write("between-patient", at, "pass")
            at += self.dice.randint(8, 20) * MINUTE

    def change(self, at: datetime) -> datetime:
        """Now and then something is changed on the breathing system, and its leak tested."""
        what = self.dice.choice(["absorbent-change", "circuit-change", "vaporiser-change"])
        if self.dice.random() > 0.08:
            return at
        self.write(what, at, **label(what, at))
        start = at + self.dice.randint(2, 5) * MINUTE
        cells = {"started": instant(start), "measures": self.leak()}
        return self.write("leak-test", start + 5 * MINUTE, "pass", **cells)

    def evening(self, clock: str) -> None:
        """Switched off, or left on."""
        if not left_on(self.machine, self.day):
            self.write("power-off", self.about(clock, 40))


def label(what: str, at: datetime) -> dict[str, str]:
    """What the label of a fitted item said; now and then nobody read it."""
    if what not in LABELS or Random(f"label {at}").random() < 0.2:
        return {}
    gtin, *lots = LABELS[what]
    lot, expiry = lots[at.month >= 3]
    return {"gtin": gtin, "lot": lot, "expiry": expiry}


def hours(machine: str, day: date) -> int:
    """The hours on a machine's meter: 11.8 a day in the emergency theatre, less elsewhere."""
    rates = {BY_DAY: 11.8, BY_NIGHT: 11.6, IMAGING: 4.1}
    rate = rates.get(machine, 5.6 if machine in THEATRES else 1.4)
    since = (day - date(2026, 2, 11)).days
    return Random(f"hours {machine}").randint(3000, 9000) + int(rate * since)


def works(machine: str, day: date) -> bool:
    """Whether a machine's place works on a day; theatre 7 has one list on a Saturday."""
    if machine == PART_WEEK:
        return day.weekday() < 3
    return day.weekday() < 5 or (machine == "AM-07" and day == date(2026, 2, 28))


def before(machine: str, day: date) -> date:
    """The working day before this one."""
    day -= DAY
    while not works(machine, day):
        day -= DAY
    return day


def left_on(machine: str, day: date) -> bool:
    """Whether the machine was left on that evening: rarely, and never before a free day."""
    if (machine, day) in LEFT_ON:
        return True
    free = day >= LAST or not works(machine, day + DAY)
    if free or {(machine, day), (machine, day + DAY)} & TOLD:
        return False
    return Random(f"left on {machine} {day}").random() < 0.08


def theatre(today: Today) -> None:
    """A theatre's machine: a morning list, mostly an afternoon list."""
    today.morning("06:26")
    today.session("07:24")
    cut = today.machine in DAY_SURGERY and today.day == POWER_CUT.date()
    today.cases(today.about("08:10", 30), aware(today.day, "11:10" if cut else "12:35"))
    if cut:
        today.write("power-loss", POWER_CUT)
        today.self_test(POWER_CUT + 8 * MINUTE)
    if cut or today.dice.random() < 0.4:
        today.session("13:05")
        today.cases(today.about("13:35", 20), aware(today.day, "16:35"))
    today.evening("16:45")


def anaesthetic_room(today: Today) -> None:
    """An anaesthetic room's machine: patients stay minutes, so no case is written."""
    today.morning("06:38")
    today.session("07:30")
    today.session("13:02")
    today.evening("16:30")


def imaging(today: Today) -> None:
    """The imaging suite works in the mornings of weekends too."""
    today.morning("06:50")
    today.session("07:55")
    today.cases(today.about("08:50", 20), aware(today.day, "12:30"), longest=90)
    if today.day.weekday() < 5:
        today.session("13:20")
        today.cases(today.about("13:45", 15), aware(today.day, "16:00"), longest=90)
    today.write("power-off", today.about("16:30" if today.day.weekday() < 5 else "12:50"))


def emergency(today: Today) -> None:
    """Half a day of the emergency theatre: the machine is tested before its turn."""
    night = today.machine == BY_NIGHT
    shift = 12 * 60 * MINUTE if night else timedelta()
    on = today.write("power-on", today.about("06:28") + shift)
    end = today.self_test(on + 6 * MINUTE)
    if today.day.weekday() == 0:
        today.weekly(end + 5 * MINUTE)
    first = today.write("session-check", today.about("07:16", 8) + shift, "pass")
    today.cases(first + today.dice.randint(20, 150) * MINUTE, first + 345 * MINUTE, 150)
    second = today.write("session-check", today.about("13:18", 10) + shift, "pass")
    today.cases(second + today.dice.randint(20, 200) * MINUTE, first + 700 * MINUTE, 150)
    today.write("power-off", today.about("19:45") + shift)


def spare(today: Today) -> None:
    """A machine in the store is tested on Mondays, and switched off again."""
    today.morning("09:05")
    today.write("power-off", today.about("09:50"))


def kit(today: Today) -> None:
    """A room's kit: bag, reserve cylinder and suction."""
    used = (today.day - FIRST).days * 100
    reserve = Random(today.machine).randint(11000, 13300) - used
    at = today.about("06:48", 25)
    today.write("kit-check", at, "pass", measures=f"reserve={reserve}")
    suction = "suction" if today.day < RENAMED else "suction-test"
    vacuum = f"vacuum={today.dice.randint(57, 72)}"
    today.write(suction, at + 2 * MINUTE, "pass", measures=vacuum)


def trolley(today: Today) -> None:
    """The resuscitation trolley, counted through on Mondays."""
    if today.day.weekday() == 0:
        today.write("trolley-stock", today.about("07:00", 20), "pass")
    today.write("trolley-check", today.about("07:40"), "pass")


def visit(today: Today) -> None:
    """The engineer's monthly visit."""
    today.by = today.dice.choice(ENGINEERS)
    battery = f"battery={today.dice.randint(60, 130)}"
    today.write("monthly", today.about("17:30", 40), "pass", measures=battery)


def routines(day: date) -> Iterator[Today]:
    """All that happens on an ordinary day, as far as no story is told instead."""
    week_day = day.weekday() < 5
    plan = [(emergency, BY_DAY), (emergency, BY_NIGHT), (imaging, IMAGING)]
    plan += [(theatre, tag) for tag in THEATRES if works(tag, day)]
    plan += [(anaesthetic_room, tag) for tag in ROOMS if week_day]
    gone = {"AM-20"} if day > date(2026, 3, 5) else set()
    plan += [(spare, tag) for tag in SPARES if day.weekday() == 0 and tag not in gone]
    rooms = [(f"KIT-{tag[3:]}", works(tag, day)) for tag in [*THEATRES, *ROOMS]]
    kits = [tag for tag, open_today in rooms if open_today]
    plan += [(kit, tag) for tag in ["KIT-01", *kits, "KIT-18"]]
    plan += [(trolley, "RT-01")]
    for routine, tag in plan:
        if (tag, day) not in TOLD:
            today = Today(tag, day)
            routine(today)
            yield today
    for tag in (tag for tag, visited in visits().items() if visited == day):
        today = Today(tag, day)
        visit(today)
        yield today


def visits() -> dict[str, date]:
    """Which machine the engineer visits when: two a day, day surgery in March."""
    early = [tag for tag in BROUGHT_OVER if tag not in {*DAY_SURGERY, "AM-12", "AM-22"}]
    days = [FIRST + n * DAY for n in range(1, 20) if (FIRST + n * DAY).weekday() < 5]
    late = {tag: date(2026, 3, 5) + n // 3 * DAY for n, tag in enumerate(DAY_SURGERY)}
    return {tag: days[n // 2] for n, tag in enumerate(early)} | late


def brought_over(machine: str) -> Iterator[Line]:
    """What the paper logs said when the book began: written first, true long before."""
    today = Today(machine, FIRST)
    today.by = today.dice.choice(ENGINEERS)
    served = YEARLY.get(machine) or date(2025, 5, 1) + today.dice.randint(0, 270) * DAY
    january = date(2026, 1, 5) + today.dice.randint(0, 20) * DAY
    alarm = date(2026, 2, 11) if machine == "AM-08" else date(2026, 2, 16)
    february = aware(date(2026, 2, 11), "16:00")
    today.write("yearly", aware(served, "15:30"), "pass", measures="battery=120")
    today.write("first-use", aware(served + DAY, "07:25"), "pass", by=today.dice.choice(STAFF))
    today.write("monthly", aware(january, "14:10"), "pass", measures="battery=95")
    today.write("reading", february, measures=f"hours={hours(machine, february.date())}")
    today.write("fan-filter", february + 10 * MINUTE, "pass")
    today.write("oxygen-alarm", aware(alarm, "07:05"), "pass", measures="alarm=10")
    for line in today.lines:
        line.cells["note"] = "from the paper log"
        line.written = aware(FIRST, "05:30")
        yield line


def warmer() -> Line:
    """The only check of the patient warmer."""
    cells = {"outcome": "pass", "by": "hv", "note": "from the paper log"}
    at = aware(date(2025, 6, 12), "11:00")
    return Line("WM-01", "warmer-check", at, aware(FIRST, "05:30"), cells)


def kits_today() -> Iterator[Line]:
    """On 12 March the kits are as ordinary as ever, but for theatre 11, which does not work."""
    for number in range(1, 19):
        if number not in (11, 13):
            today = Today(f"KIT-{number:02}", LAST + DAY)
            kit(today)
            yield from today.lines


def all_lines() -> list[Line]:
    """Every line, in the order in which it was written down."""
    lines = [line for tag in BROUGHT_OVER for line in brought_over(tag)]
    lines += [warmer(), *kits_today(), *(line for line, _ in told())]
    for offset in range((LAST - FIRST).days + 1):
        lines += [line for today in routines(FIRST + offset * DAY) for line in today.lines]
    return sorted(lines, key=lambda line: line.written)


COLUMNS = [
    *("machine", "what", "at", "started", "outcome", "measures", "limits", "until", "place"),
    *("of", "by", "decided", "note", "ref", "gtin", "lot", "expiry"),
]


def main() -> None:
    """Write the file."""
    with (HERE / "logbook.csv").open("w", newline="", encoding="utf-8") as file:
        rows = csv.DictWriter(file, COLUMNS, restval="", lineterminator="\n")
        rows.writeheader()
        for number, line in enumerate(all_lines(), 1):
            row = {"machine": line.machine, "what": line.what, "at": instant(line.at)}
            rows.writerow({"ref": f"S{number:04}"} | line.cells | row)


if __name__ == "__main__":
    main()
