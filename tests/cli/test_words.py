"""Text that cannot harm a terminal, on terminals that cannot show all of it."""

import io
import sys

import pytest

from cli.words import count, either, harmless, prepare_streams


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("tray.jpg", "tray.jpg"),
        ("\u30c8\u30ec\u30a4 \u00e9.jpg", "\u30c8\u30ec\u30a4 \u00e9.jpg"),
        ("a\x1b[31mb", "a\\x1b[31mb"),
        ("a\nb\rc\td", "a\\nb\\rc\\td"),
        ("\x07\x00\x7f\x9b", "\\x07\\x00\\x7f\\x9b"),
        ("gpj.\u202etxt", "gpj.\\u202etxt"),
        ("lone \udc80", "lone \\udc80"),
        ("line\u2028end", "line\\u2028end"),
    ],
)
def test_control_characters_are_spelled_out(text: str, safe: str) -> None:
    assert harmless(text) == safe


@pytest.mark.parametrize("encoding", ["ascii", "cp437", "utf-8"])
def test_printing_never_fails_for_want_of_a_character(
    encoding: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=encoding))
    prepare_streams()
    print("1.626 \u00b1 0.021, 1.8\u00b0 \u30c8 \udc80")
    sys.stdout.flush()
    shown = raw.getvalue().decode(encoding)
    assert shown.startswith("1.626 +/- 0.021, 1.8 deg" if encoding == "ascii" else "1.626 \u00b1")


def test_words_for_numbers_and_choices() -> None:
    assert (count(1, "ring"), count(0, "ring")) == ("1 ring", "0 rings")
    assert (either(["a"]), either(["a", "b", "c"])) == ("a", "a, b or c")
