"""Layouts written are read back equal, and each key of a description is found on its line."""

import tomllib

from hypothesis import given, settings
from hypothesis import strategies as st

from lineview.plant import ColumnTarget, Layout
from lineview.plant.positions import KeyLines
from lineview.plant.write import layout_toml
from tests.plant.test_plant_file import RIGHT, read

IDS = st.from_regex(r"\A[A-Za-z0-9][A-Za-z0-9_.\- ]{0,9}\Z")
TEXT = st.text(max_size=12)
LAYOUTS = st.builds(
    Layout,
    id=IDS,
    kind=st.sampled_from(["readings", "weights", "batches"]),
    files=TEXT,
    sheet=TEXT,
    machine=st.just(None),
    machine_column=TEXT,
    shape=st.sampled_from(["wide", "long"]),
    time=st.one_of(TEXT, st.lists(TEXT, min_size=1, max_size=2).map(tuple)),
    time_format=TEXT,
    clock_offset_s=st.floats(allow_nan=False, allow_infinity=False),
    decimal=st.sampled_from([".", ",", ""]),
    thousands=TEXT,
    quality_column=TEXT,
    gross=st.booleans(),
    columns=st.dictionaries(TEXT, st.builds(ColumnTarget, to=st.just("at"), unit=TEXT), max_size=3),
)


@settings(max_examples=80, deadline=None)
@given(st.lists(LAYOUTS, min_size=1, max_size=3, unique_by=lambda one: one.id))
def test_a_layout_written_is_read_back_equal(tmp_path_factory, layouts):
    folder = tmp_path_factory.getbasetemp()
    extra = "\n".join(layout_toml(one) for one in layouts)
    plain = RIGHT[: RIGHT.index("[[layouts]]")]
    assert read(folder, plain, extra).layouts == tuple(layouts)


KEYS = st.one_of(st.from_regex(r"\A[A-Za-z0-9_-]{1,4}\Z"), st.text(max_size=4))
LEAVES = st.one_of(st.integers(0, 9), st.booleans(), st.text(max_size=6))


def spelled(value):
    """A value of TOML as somebody might write it, over several lines where that is allowed."""
    if isinstance(value, list):
        return "[ # list\n" + ",\n".join(spelled(item) for item in value) + "\n]"
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08x}" if c in '"\\\x7f' or ord(c) < 32 else c for c in value) + '"'
    return str(value).lower()


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.dictionaries(KEYS, st.one_of(LEAVES, st.lists(LEAVES, max_size=3)), min_size=1, max_size=4),
        min_size=1,
        max_size=4,
    )
)
def test_each_key_is_found_on_its_line(tables):
    rows, expected = [], {}
    for i, table in enumerate(tables):
        rows += ["", "[[part.of]] # [[part]]"]
        for key, value in table.items():
            expected["part", "of", i, key] = len("\n".join(rows).split("\n")) + 1
            rows.append(f"{spelled(key)} . x = {spelled(value)}")
    text = "\n".join(rows)
    assert len(tomllib.loads(text)["part"]["of"]) == len(tables)
    lines = KeyLines(text)
    assert {path: lines.of(path) for path in expected} == expected
    assert {lines.of((*path, "x", 7)) >= line for path, line in expected.items()} == {True}


def test_strings_over_lines_and_inline_tables():
    text = 'a = """\n[x]\n"" \\"""" # c\n"b c".d = { e = [\n1, { f = 2 }] }\n'
    text += "[[t]]\n[t.u]\nv = 1\n[[t]]\n[t.u]\nv = 2"
    tomllib.loads(text)
    lines = KeyLines(text)
    assert lines.of(("b c", "d", "e", 1, "f")) == 5
    assert [lines.of(("t", i, "u", "v")) for i in (0, 1)] == [8, 11]
