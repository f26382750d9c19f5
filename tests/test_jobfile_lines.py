"""The line of each key of a TOML text, beside the whole reader on the lines up to it."""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.errors import InputError, TooLargeError
from lobework.jobs.jobfile import read_job, starter
from lobework.jobs.jobfile.lines import index_lines
from lobework.jobs.jobfile.source import Source, short_text

KEYS = st.sampled_from(["a", "b", "c-1", '"d e"', "'f.g'", '"h\\u00e9"', '"#"', '"]"', "1", "-"])
DOTTED = st.lists(KEYS, min_size=1, max_size=3).map(" . ".join)
SCALARS = st.sampled_from(
    [
        "1",
        "-0.5e3",
        "true",
        "'a # [b] = {c}'",
        '"x = \\"[1]\\" # y"',
        "1979-05-27T07:32:00Z",
        "inf",
        "0xff",
        '"""one "" two"""',
        "''''a''''",
    ]
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda each: f"[ {', '.join(each)} ]"),
        st.lists(st.tuples(DOTTED, inner), max_size=3).map(lambda each: "{ " + ", ".join(f"{k} = {v}" for k, v in each) + " }"),
    ),
    max_leaves=6,
)
LINES = st.one_of(
    st.builds("{} = {}".format, DOTTED, VALUES),
    DOTTED.map("[{}]".format),
    DOTTED.map("[[ {} ]]".format),
    st.sampled_from(["", "   ", "# a = [1]", "[[a]] # b = 2"]),
)


def paths(holds: object, path: tuple[str | int, ...] = ()):
    """Yield the path of everything that is held."""
    inside = holds.items() if isinstance(holds, dict) else enumerate(holds) if isinstance(holds, list) else ()
    for key, value in inside:
        yield (*path, key)
        yield from paths(value, (*path, key))


def is_read(text: str) -> bool:
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    return True


@given(lines=st.lists(LINES, max_size=8))
def test_the_line_of_a_key_is_the_first_at_which_the_reader_knows_it(lines):
    kept: list[str] = []
    for line in lines:
        kept += [line] if is_read("\n".join([*kept, line])) else []
    text = "\n".join(kept)
    first: dict[tuple[str | int, ...], int] = {}
    for number in range(1, len(kept) + 1):
        first.update({path: number for path in paths(tomllib.loads("\n".join(kept[:number]))) if path not in first})
    lines = index_lines(text)
    assert {path: lines.line_of(path) for path in first} == first


def test_an_item_inside_a_multiline_value_has_its_own_line():
    text = 'a = """\n[b]\nc = 1\n"""\nd = [ # e = 1\n  1,\n\n  { f = 2, g.h = 3 }, [\n  4 ]\n]\r\ni = 5'
    places = {("a",): 1, ("d",): 5, ("d", 0): 6, ("d", 1): 8, ("d", 1, "g", "h"): 8, ("d", 2): 8, ("d", 2, 0): 9, ("i",): 11}
    lines = index_lines(text)
    assert {path: lines.line_of(path) for path in places} == places
    assert lines.line_of(("b",)) is None


@given(text=st.one_of(st.text("ab.=[]{},\"'#\\\n \t0", max_size=60), st.text(max_size=40)))
def test_invalid_toml_only_ends_the_search_for_lines(text):
    index_lines(text).line_of(("a",))


def test_an_error_at_the_end_of_a_long_file_is_found_without_reading_it_again(tmp_path, monkeypatch):
    path = tmp_path / "lid.toml"
    path.write_text(starter() + "# remark\n" * 20_000 + "[[pass]]\nturns = -1\n", encoding="utf-8")
    reads: list[str] = []
    read = tomllib.loads
    monkeypatch.setattr(tomllib, "loads", lambda text: reads.append(text) or read(text))
    lines = path.read_text(encoding="utf-8").count("\n")
    with pytest.raises(InputError, match=rf"lid\.toml:{lines}: pass\[2\]\.turns: -1 must be zero or more"):
        read_job(path)
    assert len(reads) == 1


TOO_LONG = [
    ("\n" + ".".join("a" * 20_000) + " = 1", "2: holds a key with more than 30 dotted parts; write fewer"),
    ("[" + ".".join("a" * 31) + "]", "1: holds a key with more than 30 dotted parts; write fewer"),
    ("a = { " + ".".join("a" * 31) + " = 1 }", "1: holds a key with more than 30 dotted parts; write fewer"),
    ("a = [\n" + "[" * 100_000, "2: is nested too deeply to be read; write fewer brackets within brackets"),
    ("a = " + "{a=" * 100, "1: is nested too deeply to be read; write fewer brackets within brackets"),
    ("a = " + "7" * 401, "1: holds a number of 401 characters; write a shorter one"),
    ("a = [0, 0b" + "1" * 5_000 + "]", "1: holds a number of 5,002 characters; write a shorter one"),
]


@pytest.mark.parametrize(("text", "message"), [pytest.param(*each, id=each[1]) for each in TOO_LONG])
def test_text_that_would_take_too_long_to_read_is_refused_with_its_line(text, message):
    with pytest.raises(InputError) as refused:
        index_lines(text)
    assert str(refused.value) == message


def test_more_tables_than_a_job_can_use_are_refused():
    index_lines("[[pass]]\n" * 2_500 + "a = [" + "{}, " * 2_500 + "]")
    with pytest.raises(TooLargeError, match=r"^2501: holds more than 5,000 tables; use a series in place of many passes$"):
        index_lines("[[pass]]\n" * 2_500 + "a = [" + "{}, " * 2_501 + "]")


def test_a_key_of_thirty_parts_is_read(tmp_path):
    (tmp_path / "a.toml").write_text(".".join("a" * 30) + " = 1", encoding="utf-8")
    assert len(list(paths(Source.read(tmp_path / "a.toml").holds))) == 30


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ([16**5_000], "a number of thousands of digits"),
        (date(1979, 5, 27), "1979-05-27"),
        (time(7, 32), "07:32:00"),
        (datetime(1979, 5, 27, 7, 32, tzinfo=UTC), "1979-05-27 07:32:00+00:00"),
        (float("-inf"), "-inf"),
        ("a\x1b[2J", "'a\\x1b[2J'"),
    ],
)
def test_any_value_can_be_shown(given, words):
    assert short_text(given) == words
