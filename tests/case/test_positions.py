"""The line of every key and list element, held against texts laid out by hand."""

import time
import tomllib
from textwrap import dedent

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermo.case.positions import key_lines, key_parts, line_of, tokens

EVERYTHING = '''\
title = "x # no comment [no table]"   # a comment with = and [ and "
[ring]
energy = "1 GeV"
  current="2 A"

[beam] # table
filters = [ {material = "a", thickness = "b"}, # comment ] }
    {material = "c",
     thickness = "d"},
  # a line between
    { material = 'e', thickness.value = 1 },
]
[ mask . "membrane" ]
a.b."c d" = 1
'q.r' = 2
"tab\\tkey" = 3
text = """
[not.a.table]
key = "not a key"
quoted \\""" and ""still"" inside"""
after = 1
literal = \'\'\'
it = 'is'
\'\'\'
last = [[1,
  2], [
  3.5, 1979-05-27 07:32:00, -inf]]
[[layers]]
name = "one"
[layers.sub]
deep = true
[[layers]]
name = "two"
[[layers.inner]]
x = 1
[[layers.inner]]
x = 2
'''
LINES = {
    ("title",): 1,
    ("ring",): 2,
    ("ring", "energy"): 3,
    ("ring", "current"): 4,
    ("beam",): 6,
    ("beam", "filters"): 7,
    ("beam", "filters", 0): 7,
    ("beam", "filters", 0, "material"): 7,
    ("beam", "filters", 0, "thickness"): 7,
    ("beam", "filters", 1): 8,
    ("beam", "filters", 1, "material"): 8,
    ("beam", "filters", 1, "thickness"): 9,
    ("beam", "filters", 2): 11,
    ("beam", "filters", 2, "material"): 11,
    ("beam", "filters", 2, "thickness"): 11,
    ("beam", "filters", 2, "thickness", "value"): 11,
    ("mask",): 13,
    ("mask", "membrane"): 13,
    ("mask", "membrane", "a"): 14,
    ("mask", "membrane", "a", "b"): 14,
    ("mask", "membrane", "a", "b", "c d"): 14,
    ("mask", "membrane", "q.r"): 15,
    ("mask", "membrane", "tab\tkey"): 16,
    ("mask", "membrane", "text"): 17,
    ("mask", "membrane", "after"): 21,
    ("mask", "membrane", "literal"): 22,
    ("mask", "membrane", "last"): 25,
    ("mask", "membrane", "last", 0): 25,
    ("mask", "membrane", "last", 0, 0): 25,
    ("mask", "membrane", "last", 0, 1): 26,
    ("mask", "membrane", "last", 1): 26,
    ("mask", "membrane", "last", 1, 0): 27,
    ("mask", "membrane", "last", 1, 1): 27,
    ("mask", "membrane", "last", 1, 2): 27,
    ("layers",): 28,
    ("layers", 0): 28,
    ("layers", 0, "name"): 29,
    ("layers", 0, "sub"): 30,
    ("layers", 0, "sub", "deep"): 31,
    ("layers", 1): 32,
    ("layers", 1, "name"): 33,
    ("layers", 1, "inner"): 34,
    ("layers", 1, "inner", 0): 34,
    ("layers", 1, "inner", 0, "x"): 35,
    ("layers", 1, "inner", 1): 36,
    ("layers", 1, "inner", 1, "x"): 37,
}


def paths(value, here=()):
    """Paths of everything in what the TOML reader gives."""
    if here:
        yield here
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from paths(inner, (*here, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from paths(inner, (*here, index))


def test_every_key_and_element_has_its_line():
    text = EVERYTHING.replace('"c",\n', '"c", ')  # an inline table stands on one line in TOML 1.0
    lines = {path: line - (line > 8) for path, line in LINES.items()}
    assert key_lines(text) == lines
    assert set(paths(tomllib.loads(text))) == set(lines)


def test_an_inline_table_over_several_lines_is_followed_too():
    assert key_lines(EVERYTHING) == LINES


def test_carriage_returns_do_not_count_as_lines():
    assert key_lines("a = 1\r\nb = [\r\n 2]\r\n") == {("a",): 1, ("b",): 2, ("b", 0): 3}


def test_a_dotted_key_in_several_lines_stands_where_it_is_first_written():
    assert key_lines("a.b = 1\na.c = 2\n") == {("a",): 1, ("a", "b"): 1, ("a", "c"): 2}


def test_escapes_in_a_text_of_several_lines_do_not_end_it():
    text = 'a = [\n"""x \\t\n] y = 1\n\\""" [ """,\n2]\n'
    assert key_lines(text) == {("a",): 1, ("a", 0): 2, ("a", 1): 5}
    assert set(paths(tomllib.loads(text))) == set(key_lines(text))


def test_a_path_that_is_not_written_has_the_line_of_the_table_above_it():
    lines = key_lines("[ring]\nenergy = 1\n[beam]\n")
    assert line_of(("ring", "current"), lines) == 1
    assert line_of(("beam", "filters", 0, "material"), lines) == 3
    assert line_of(("mask",), lines) == 1


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("gap.width", ("gap", "width")),
        ("beam.filters.1.thickness", ("beam", "filters", "1", "thickness")),
        (' mask . "my key" ', ("mask", "my key")),
        ("a.'b.c'", ("a", "b.c")),
        ("", None),
        (".", None),
        ("a.", None),
        ("a..b", None),
        ("a b", None),
        ("a = 1", None),
        ("a\nb", None),
        ('"open', None),
        ("[a]", None),
        ("ä", None),
    ],
)
def test_parts_of_a_dotted_key(text, parts):
    assert key_parts(text) == parts


KEYS = st.sampled_from(["a", "b-1", '"c d"', "'e.f'", '"g=#["'])
SCALARS = st.sampled_from(
    ["1", "-2.5e3", "true", '"x"', "'y'", '"a \\" # ]"', '"""m\n\\"""x = 1\n"""', "'''\n]\n'''"]
) | st.just("1979-05-27 07:32:00")
VALUES = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda v: "[\n" + " , # c ]\n".join(v) + "\n]")
        | st.lists(st.tuples(KEYS, inner), max_size=3, unique_by=lambda pair: pair[0]).map(
            lambda pairs: "{" + ", ".join(f"{k} = {v}" for k, v in pairs) + "}"
        )
    ),
    max_leaves=8,
)


@given(st.lists(st.tuples(KEYS, VALUES), max_size=5, unique_by=lambda pair: pair[0]), st.booleans())
def test_it_finds_just_the_keys_the_toml_reader_finds_and_their_lines(pairs, array):
    text, lines = ("[[t]]\n" if array else "[t]\n"), []
    for key, value in pairs:
        lines.append(text.count("\n") + 1)
        text += f"{key} = {value} # end\n"
    found = key_lines(text)
    assert set(found) == set(paths(tomllib.loads(text)))
    start = ("t", 0) if array else ("t",)
    named = [next(iter(tomllib.loads(f"{key} = 1"))) for key, _ in pairs]
    assert [found[(*start, name)] for name in named] == lines


@given(st.text(alphabet="ab=\"'#[]{}.,\\\n \t1", max_size=80))
def test_tokens_leave_nothing_out_whatever_the_text(text):
    assert all(token.text in text for token in tokens(text))
    lines = [token.line for token in tokens(text)]
    assert lines == sorted(lines)


@pytest.mark.parametrize(
    "piece", ['"""', '\\"""', "'''", '"', "\\", "[", '"""\\"', "a.", "' ", "#"]
)
def test_time_grows_in_proportion_to_the_length_of_a_hostile_text(piece):
    def seconds(count):
        text = 'x = """' + piece * count
        best = []
        for _ in range(3):
            start = time.process_time()
            for _token in tokens(text):
                pass
            best.append(time.process_time() - start)
        return min(best)

    # eight times the text may take eight times as long; 24 leaves room for a busy machine,
    # a quadratic reader needs 64
    assert seconds(32_000) < 24 * seconds(4_000) + 0.02


def test_a_comment_ends_with_its_line():
    assert [token.text for token in tokens(dedent("# a = 1\nb"))] == ["\n", "b"]
