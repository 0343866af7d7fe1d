"""Caliper readings typed at a prompt; each is in the file before the next is asked for."""

import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import typer

from cli.outputs import write_whole
from cli.readings import add_row, load, parse
from cli.show.guide import AFTER, BEFORE, OD, WIRE, inside_words
from cli.show.spotcheck import agree_range, place_words
from cli.words import harmless
from vision.batch.read import Shot
from vision.errors import TradeError
from vision.spotcheck.caliper import Caliper, Reading, What, expect, readable
from vision.spotcheck.choose import Pick
from vision.spotcheck.slips import guess_slip
from vision.spotcheck.typed import ACCEPTED, read_typed

REPEATS = 2
"""Readings asked for of each length: at right angles."""

FAR = 2.0
"""Distance from the expected reading, in U, from which a reading is asked about at once."""

ZERO_MM = 0.01
"""Zero may move by one step of the display."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One reading that is wanted."""

    pick: Pick
    what: What
    nth: int


@dataclass(slots=True)
class Session:
    """A file of readings that grows by what is typed."""

    path: Path
    shots: Sequence[Shot]
    caliper: Caliper
    text: str = ""
    before: list[str] = field(default_factory=list)
    """The file's text before each reading of this session, to take readings back."""
    unit: str = "mm"

    def add(self, reading: Reading, typed: str) -> None:
        """Write a reading down."""
        longer = add_row(self.text, self.shots, reading, typed)
        write_whole(self.path, longer.encode("utf-8"))
        self.before.append(self.text)
        self.text = longer

    def take_back(self) -> bool:
        """Undo the last reading of this session; False if there is none."""
        if not self.before:
            return False
        self.text = self.before.pop()
        write_whole(self.path, self.text.encode("utf-8"))
        return True


def enter_readings(
    path: Path, picks: Sequence[Pick], shots: Sequence[Shot], caliper: Caliper
) -> float:
    """Ask for the readings of the chosen rings and keep them in a file.

    Readings that the file already holds are not asked for again.

    Returns
    -------
    What the closed jaws showed in the end, mm; 0 where nothing was answered.
    """
    session = Session(path, shots, caliper, load(path) if path.exists() else "")
    asks = _wanted(session, picks)
    if not asks:
        _say("every reading of these rings is already in the file")
        return 0.0
    _say(f"readings go to {harmless(str(path))}, each as soon as it is typed")
    _say("type 1.63, 0.064 in or 1/16 in; Enter leaves one out, b takes back, q ends")
    for step in BEFORE:
        _say(f"- {step}")
    told: set[object] = set()
    place = 0
    while place < len(asks):
        _tell(session, asks[place], told)
        answer = _ask_one(session, asks[place])
        if answer is None:
            break
        if answer == "back":
            back = session.take_back()
            _say("taken back" if back else "there is no reading of this session to take back")
            place = max(0, place - 1) if back else place
            continue
        place += 1
    return _ask_zero() if session.before else 0.0


def _wanted(session: Session, picks: Sequence[Pick]) -> list[Ask]:
    have: dict[tuple[int, int, What], int] = {}
    if session.text.strip():
        for r in parse(session.text, session.shots, name=str(session.path)).readings:
            have[r.photo, r.ring, r.what] = have.get((r.photo, r.ring, r.what), 0) + 1

    def asks() -> Iterator[Ask]:
        for pick in picks:
            for what in readable(pick.ring):
                done = have.get((*pick.place, what), 0)
                yield from (Ask(pick=pick, what=what, nth=n) for n in range(done, REPEATS))

    return list(asks())


def _tell(session: Session, ask: Ask, told: set[object]) -> None:
    """Say which ring comes, and how to read a length where it comes for the first time."""
    if ask.pick.place not in told:
        told.add(ask.pick.place)
        _say(f"\nring {ask.pick.ring.number}, {place_words(ask.pick, session.shots)}")
    if ask.what not in told:
        told.add(ask.what)
        _say(
            "- "
            + {
                What.WIRE: WIRE,
                What.OD: OD,
                What.ID: inside_words([ask.pick.ring], session.caliper),
            }[ask.what]
        )


def _ask_one(session: Session, ask: Ask) -> str | None:
    """Ask until an answer can be used: `read`, `left out`, `back`, or None to end."""
    expected = expect(ask.pick.ring, ask.what, session.caliper)
    while True:
        low, high = agree_range(expected, session.unit)
        line = _line(
            f"{ask.what.label} {ask.nth + 1} of {REPEATS}, expect {low} to {high} {session.unit}: "
        )
        if line is None or line.lower() == "q":
            return None
        if line.lower() == "b":
            return "back"
        if not line:
            return "left out"
        try:
            typed = read_typed(line, session.unit)
        except TradeError as error:
            _say(f"{error}; {ACCEPTED}")
            continue
        session.unit = typed.unit
        photo, ring = ask.pick.place
        reading = Reading(
            photo=photo,
            ring=ring,
            what=ask.what,
            value_mm=typed.value_mm,
            step_mm=typed.step_mm,
            unit=typed.unit,
        )
        number = re.sub(r"\s*(mm|in|inch|inches|\")$", "", line.strip().lower()).replace(",", ".")
        session.add(reading, number)
        off = typed.value_mm - expected.value_mm
        if abs(off) > FAR * expected.u95_mm:
            guess = guess_slip(session.shots, reading)
            _say(f"that is {off:+.2f} mm from what the photo says: {guess} (b takes it back)")
        return "read"


def _ask_zero() -> float:
    """Ask what the closed jaws show in the end."""
    _say(f"\n- {AFTER}")
    while True:
        line = _line("the closed jaws show, in mm (Enter for 0.00): ")
        if not line:
            return 0.0
        try:
            zero = float(line.removesuffix("mm").replace(",", ".").replace("\N{MINUS SIGN}", "-"))
        except ValueError:
            zero = float("nan")
        if not abs(zero) < 5.0:
            _say("write what the display shows, such as 0.00 or -0.02")
            continue
        if abs(zero) > ZERO_MM:
            _say(
                f"zero moved by {zero:+.2f} mm: any reading may be off by that much. It is counted "
                "as doubt; better set zero and read again into a new file"
            )
        return zero if abs(zero) > ZERO_MM else 0.0


def _line(prompt: str) -> str | None:
    """Ask on standard error, so that standard output stays the answer's; None at the end."""
    typer.echo(prompt, nl=False, err=True)
    line = sys.stdin.readline()
    return line.strip() if line else None


def _say(text: str) -> None:
    from textwrap import wrap

    from cli.show.terminal import terminal_width

    if text.startswith("\n"):
        typer.echo("", err=True)
    for part in wrap(text.strip(), terminal_width(), subsequent_indent="  "):
        typer.echo(part, err=True)
