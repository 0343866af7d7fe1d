"""Text that is safe to print: no control characters, whatever the terminal can show."""

import codecs
import os
import sys
import unicodedata

_SPOKEN = {
    "\N{PLUS-MINUS SIGN}": "+/-",
    "\N{DEGREE SIGN}": " deg",
    "\N{MULTIPLICATION SIGN}": "x",
    "\N{EN DASH}": "-",
}
"""What stands in for our own signs where an encoding lacks them."""

_HARMFUL = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
"""Unicode categories that steer a terminal or hide text: control, format (also right-to-left
overrides), surrogate, private use, line and paragraph separators."""

ENCODING_FALLBACK = "annulet-spoken"


def harmless(text: str) -> str:
    r"""Spell control characters out, so that a file name cannot steer the terminal.

    `"a\x1b[31m"` becomes `"a\\x1b[31m"`; printable text of any language stays.
    """
    return "".join(
        character.encode("unicode_escape").decode("ascii")
        if unicodedata.category(character) in _HARMFUL
        else character
        for character in text
    )


def prepare_streams() -> None:
    """Let printing never fail for want of a character."""
    codecs.register_error(ENCODING_FALLBACK, _speak)
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors=ENCODING_FALLBACK)


def count(number: int, noun: str) -> str:
    """`1 ring`, `2 rings`."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def either(names: list[str]) -> str:
    """`a`, `a or b`, `a, b or c`."""
    *first, last = names
    return f"{', '.join(first)} or {last}" if first else last


def mute_libraries() -> None:
    """Leave standard error to this program: decoders write there what they think of a picture.

    What a damaged file makes them write is no message, and could steer the terminal.
    """
    try:
        ours, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    except OSError:  # standard error is closed
        return
    sys.stderr.flush()
    os.dup2(nowhere, 2)
    os.close(nowhere)
    sys.stderr = os.fdopen(ours, "w", encoding=sys.stderr.encoding, buffering=1)


def _speak(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lost = error.object[error.start : error.end]
    return "".join(_SPOKEN.get(character, "?") for character in lost), error.end
