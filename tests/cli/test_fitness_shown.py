"""The photo's fitness in the table and in the result file, before the numbers."""

import pytest

from cli.show.table import result_text
from tests.cli.fakes import result, ring
from vision.results import Check, Finding, Fitness, result_record

SOFT = Finding(check=Check.SHARPNESS, problem="soft: edges are blurred", advice="tap on the rings")
FITNESS = Fitness(
    blur_px=1.94,
    noise_rel=0.0123,
    burnt_share=0.02,
    tilt_deg=1.8,
    thinnest_wire_px=16.4,
    near_edge=(3,),
    findings=(SOFT,),
)


def page(**changes) -> str:
    fitness = Fitness(
        **{name: getattr(FITNESS, name) for name in FITNESS.__dataclass_fields__} | changes
    )
    return result_text(result([ring(1)], fitness=fitness), width=80).plain


def test_what_is_wrong_with_a_photo_stands_before_its_numbers() -> None:
    text = page()
    assert "photo: blur 1.9 px, thinnest wire 16 px, noise 1.2 %\n" in text
    told = text.index("soft: edges are blurred\nnext time: tap on the rings\n")
    assert text.index("scale:") < told < text.index("ring  wire mm")
    assert max(map(len, text.splitlines())) <= 80


def test_a_good_photo_is_called_good() -> None:
    assert "noise 1.2 %: good\n" in page(findings=())


def test_what_is_unknown_is_not_mentioned() -> None:
    assert "photo: noise 1.2 %: good\n" in page(findings=(), blur_px=None, thinnest_wire_px=None)


def test_words_of_a_finding_cannot_steer_the_terminal() -> None:
    evil = Finding(check=Check.EDGE, problem="near \x1b[31mred", advice="a\x07b")
    assert "\x1b" not in page(findings=(evil,)) and "\x07" not in page(findings=(evil,))


def test_the_result_file_holds_the_fitness() -> None:
    record = result_record(result([ring(1)], fitness=FITNESS))["fitness"]
    assert record["blur_px"] == 1.94 and record["near_edge"] == [3]
    assert record["noise_rel"] == pytest.approx(0.0123)
    assert record["findings"] == [
        {"check": "sharpness", "problem": SOFT.problem, "advice": SOFT.advice}
    ]
    assert result_record(result([ring(1)]))["fitness"] is None
