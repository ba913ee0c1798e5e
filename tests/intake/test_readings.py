"""Wide and long tables, machine columns, text gauges, and the columns of tidy readings."""

from __future__ import annotations

from lineview.core.frames import READINGS
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, layout_of, reasons, utc, values


def test_a_long_table_counts_names_that_are_not_in_the_layout(read):
    layout = layout_of(
        {"WRAP1.PCS": "pieces", "WRAP1.STATE": "state"}, shape="long", name_column="tag", value_column="v"
    )
    text = (
        "time;tag;v\n2026-06-08 06:00:00;wrap1.pcs;1,5\n2026-06-08 06:00:00;WRAP1.STATE;Run\n"
        "2026-06-08 06:00:00;OTHER;5\n2026-06-08 06:00:10;WRAP1.STATE;-\n"
    )
    export = read(text, layout)
    assert dict(export.parts[0].tidy.schema) == READINGS
    assert values(export, "pieces") == [1.5]
    assert export.parts[0].tidy["text"].to_list() == [None, "Run"]
    assert reasons(export) == {(4, ""): "name 'OTHER' is not in the layout", (5, ""): "no value"}
    assert any("'OTHER'" in note for note in export.notes)


def test_channels_of_several_machines_in_one_file(read):
    layout = layout_of({"a": "wrap1/pieces", "b": "wrap2/pieces"}, machine=None)
    export = read("time;a;b\n2026-06-08 06:00:00;1;2\n", layout)
    assert export.parts[0].tidy.select("machine", "value").rows() == [("wrap1", 1.0), ("wrap2", 2.0)]


def test_a_machine_column_in_a_wide_table(read):
    layout = layout_of({"n": "pieces", "d": "diameter"}, machine=None, machine_column="who")
    text = "time;who;n;d\n2026-06-08 06:00:00;wrap1;1;\n2026-06-08 06:00:00;Sizer1;;14.02\n2026-06-08 06:00:00;?;1;\n"
    export = read(text, layout)
    assert export.parts[0].tidy.sort("row").select("machine", "channel").rows() == [
        ("wrap1", "pieces"), ("sizer1", "diameter"),
    ]  # fmt: skip
    assert reasons(export) == {(4, ""): "unknown machine '?'"}


def test_a_machine_column_in_a_long_table(read):
    layout = layout_of(
        {"pcs": "pieces"}, machine=None, machine_column="who", shape="long", name_column="n", value_column="v"
    )
    text = (
        "time;who;n;v\n2026-06-08 06:00:00;wrap1;pcs;1\n2026-06-08 06:00:00;wrap2;pcs;2\n"
        "2026-06-08 06:00:00;sizer1;pcs;3\n"
    )
    export = read(text, layout)
    assert export.parts[0].tidy.sort("row")["machine"].to_list() == ["wrap1", "wrap2"]
    assert export.rows_refused == 1


def test_a_state_beside_numbers(read):
    export = read(
        "time,n,s\n2026-06-08 06:00:00,1,Run\n2026-06-08 06:00:10,2,\n", layout_of({"n": "pieces", "s": "state"})
    )
    tidy = export.parts[0].tidy
    assert dict(tidy.schema) == READINGS
    assert tidy["text"].drop_nulls().to_list() == ["Run"]
    assert tidy.filter(tidy["channel"] == "state")["value"].to_list() == [None]


def test_row_order_does_not_matter_where_times_carry_their_offset(read):
    rows = [f"2026-10-25T0{h}:{m:02d}:00+0{o}:00;{h * 60 + m}" for h, o in ((1, 2), (2, 2), (2, 1)) for m in (0, 30)]
    layout = layout_of({"n": "pieces"})
    forth = read("time;n\n" + "\n".join(rows) + "\n", layout).parts[0].tidy
    back = read("time;n\n" + "\n".join(reversed(rows)) + "\n", layout).parts[0].tidy
    assert forth.select("at", "value").sort("at").equals(back.select("at", "value").sort("at"))


def test_the_layout_is_found_by_file_name_and_headers(tmp_path):
    near = layout_of({"n": "pieces"}, id="near", files="WRAP1_*.csv")
    far = layout_of({"n": "rejects"}, id="far", files="*")
    other = layout_of({"x": "pieces"}, id="other", files="*.csv")
    plant = WORKS.model_copy(update={"layouts": (far, other, near)})
    path = tmp_path / "wrap1_08.csv.gz"
    import gzip

    path.write_bytes(gzip.compress(b"time;n\n2026-06-08 06:00:00;1\n"))
    assert read_export(path, plant).layouts == ("near",)


def test_progress_is_told_and_ends_at_all_rows(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time;n\n" + "".join(f"2026-06-08 06:{i:02d}:00;{i}\n" for i in range(60)))
    told: list[int] = []
    read_export(path, WORKS, layout=layout_of({"n": "pieces"}), progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 60
    assert len(told) > 2


def test_row_numbers_are_those_an_editor_shows(read):
    text = "\n\nPre\ntime;n\n\n2026-06-08 06:00:00;1\n"
    export = read(text, layout_of({"n": "pieces"}))
    assert export.parts[0].tidy["row"].to_list() == [6]
    assert utc(export) == ["2026-06-08 04:00:00"]
