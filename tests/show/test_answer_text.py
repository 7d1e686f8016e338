"""The printed answer: plain, narrow, complete."""

from pathlib import Path

import pytest

from thermo.answer.size import run_size
from thermo.case import read_case
from thermo.materials import material, material_names
from thermo.show.checked import checked_text
from thermo.show.materials import all_materials_text, material_text
from thermo.show.text import WORDS, answer_text
from thermo.show.words import fitted

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))


@pytest.fixture(params=["scanned", "held", "few"])
def answer(request):
    return request.getfixturevalue(request.param).answer


def test_the_answer_is_plain_ascii_of_at_most_100_columns(answer):
    text = answer_text(answer)
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 100
    assert text == "\n".join(line.rstrip() for line in text.splitlines()) + "\n"


def test_the_answer_names_no_python_value(answer):
    words = answer_text(answer).replace(",", " ").split()
    assert not {"None", "nan", "inf", "True", "False"} & set(words)


def test_every_part_limit_and_the_verdict_are_printed(answer):
    text = answer_text(answer)
    for part in answer.temperature:
        assert f"\n  {part} " in text
    for line in answer.limits:
        assert f"\n  {line.name.replace('_', ' ')} " in text
    assert f"Verdict   {WORDS[answer.verdict.word]}" in text


def test_printed_temperatures_are_those_of_the_answer(answer):
    table = answer_text(answer).split("Temperature, degC")[1]
    rows = [row.split() for row in table.splitlines()]
    for part, t in answer.temperature.items():
        row = next(r for r in rows if r[:1] == [part])
        assert row[1:4] == [f"{v:.1f}" for v in (t.mean_C, t.dose_weighted_C, t.peak_C)]


def test_cautions_are_printed(answer):
    text = " ".join(answer_text(answer).split())
    assert "not a safety assessment" in text


def test_a_long_title_does_not_break_the_table(answer):
    case = answer.case.model_copy(update={"title": "x" * 200})
    longest = answer_text(answer.model_copy(update={"case": case})).splitlines()
    assert longest[0] == "x" * 200
    assert max(map(len, longest[1:])) <= 100


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_a_checked_case_shows_its_stack_and_what_a_run_takes(path):
    case = read_case(path)
    size = run_size(case)
    text = checked_text(case, size)
    for part in case.sample.layers:
        assert f"\n    {part.name} " in text
    for one in case.assumed:
        assert one.key in text
    assert 20_000 < size.unknowns < 500_000  # half a sigma along the whole scan
    assert 1 < size.seconds < 180  # a whole answer within three minutes


def test_the_materials_table_has_a_line_for_each_material():
    chosen = [material(name) for name in material_names()]
    text = all_materials_text(chosen)
    assert [line.split()[0] for line in text.splitlines()[1:-1]] == list(material_names())


def test_a_single_material_shows_range_and_source():
    text = material_text(material("PMMA"))
    assert "conductivity" in text
    assert ".." in text
    assert "from memory" in text or "(19" in text or "(20" in text


@pytest.mark.parametrize("columns", [60, 72, 99])
def test_a_narrow_terminal_cuts_no_word_and_loses_none(answer, columns):
    text = answer_text(answer)
    narrow = fitted(text, columns)
    assert narrow.split() == text.split()
    assert max(map(len, narrow.splitlines())) <= columns
    assert [line for line in narrow.splitlines() if not line.strip()] == [""] * text.count("\n\n")


def test_the_table_is_plain_ascii_where_the_title_is(answer):
    assert answer_text(answer).isascii()
