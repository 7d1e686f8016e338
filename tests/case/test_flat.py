"""The keys of a case file with their values, laid out flat."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermo.case import read_case
from thermo.case.flat import flat_case
from thermo.case.positions import key_parts
from thermo.errors import CaseError

TEXT = """\
title = "x"
[beam]
filters = [{ material = "a", thickness = "1 um" }, { material = "b" }]
spare_filters = []
[mask.absorber]
coverage = [[0.2, 0.3], [1, "0.5"]]
surround.plated = true
[sensors]
"a b" = { x = "1 mm" }
'c.d' = {}
[[sample.layers]]
material = "PMMA"
[[sample.layers]]
material = "silicon"
"""


def test_keys_are_dotted_elements_count_from_1_and_the_order_is_that_of_the_file():
    assert list(flat_case(TEXT).items()) == [
        ("title", "x"),
        ("beam.filters.1.material", "a"),
        ("beam.filters.1.thickness", "1 um"),
        ("beam.filters.2.material", "b"),
        ("beam.spare_filters", "[]"),
        ("mask.absorber.coverage.1.1", "0.2"),
        ("mask.absorber.coverage.1.2", "0.3"),
        ("mask.absorber.coverage.2.1", "1"),
        ("mask.absorber.coverage.2.2", "0.5"),
        ("mask.absorber.surround.plated", "true"),
        ('sensors."a b".x', "1 mm"),
        ('sensors."c.d"', "{}"),
        ("sample.layers.1.material", "PMMA"),
        ("sample.layers.2.material", "silicon"),
    ]


def test_an_empty_text_has_no_keys():
    assert flat_case("") == flat_case("# a remark\n") == {}


def test_comments_spaces_and_the_way_a_table_is_written_change_nothing():
    assert flat_case('[a]\nb = "1"') == flat_case("a = {b='1'} # remark") == flat_case('a.b="1"')


def test_each_key_of_a_case_may_be_given_to_set_with_its_own_value(small, small_path):
    """A key that --set does not know, or that means another place, would change the case."""
    flat = flat_case(small.text)
    assert len(flat) > 50
    again = read_case(small_path, flat)
    told = ("ring", "beam", "scan", "chamber", "mask", "gap", "sample", "sensors", "dose", "limits")
    assert all(getattr(again, part) == getattr(small, part) for part in told)
    assert read_case(small_path, {**flat, "beam.filters.1.thickness": "9 um"}).beam != small.beam


@given(st.dictionaries(st.text(st.characters(exclude_categories=["Cs"]), min_size=1), st.none()))
def test_names_of_any_letters_stay_apart(names):
    """Escaped as in TOML: two names never give one key."""
    lines = []
    for name in names:
        escaped = "".join(f"\\U{ord(letter):08X}" for letter in name)
        lines.append(f'"{escaped}" = 1')
    flat = flat_case("\n".join(lines))
    assert len(flat) == len(names)


def test_a_name_that_holds_quotes_and_points_is_no_row_of_names():
    keys = list(flat_case("""'é"."é' = 1\n"é".'é' = 2\n'é\\"é' = 3"""))
    assert keys == ['"é\\".\\"é"', '"é"."é"', '"é\\\\\\"é"']


def test_a_plain_name_and_a_quoted_one_are_read_back_as_keys():
    assert [key_parts(key) for key in flat_case('a.b = 1\n"c d".e = 1')] == [
        ("a", "b"),
        ("c d", "e"),
    ]


@pytest.mark.parametrize(
    "text",
    [
        "[ring",
        "a = 1\na = 2",
        "a = " + "[" * 5000 + "]" * 5000,
        ".".join("a" * 5000) + " = 1",
        "a = " + "9" * 6000,
        "a = \x1b[2J",
    ],
)
def test_what_is_no_toml_ends_in_one_line_that_no_terminal_obeys(text):
    with pytest.raises(CaseError) as caught:
        flat_case(text, "one\x1b[2J/case.toml")
    message = str(caught.value)
    assert message.startswith("one?[2J/case.toml")
    assert message.isprintable()
    assert len(message) < 400


def test_depth_within_the_guards_is_followed_without_recursion():
    inner = "1"
    for _ in range(30):
        inner = "{" + ".".join("k" * 15) + " = " + inner + "}"
    assert list(flat_case(f"k = {inner}").values()) == ["1"]
