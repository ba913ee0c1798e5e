"""Formats that shops have, each read with its truth or refused in words that name what is wrong."""

from __future__ import annotations

import base64
import gzip
import json
import zipfile
import zlib
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
import xlsxwriter

from lineview.app.works import Works
from lineview.core.errors import IntakeError
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, adds_up, layout_of, utc, values
from tests.intake.small_works import MADE, SmallWorks, rows, stamps, total

PIECES = layout_of({"n": "pieces"}, time_format="auto")
WHOLE_SHIFT = stamps(2881, 10)


def proposed_and_made(tmp_path, content, name, answers=None):
    works = SmallWorks(tmp_path / "works")
    taken = works.take(content, name, answers=answers or {})
    assert taken.receipt is not None, taken
    assert works.made() == (MADE, MADE, MADE)
    return taken


def test_parquet(tmp_path):
    frame = pl.DataFrame(
        {"time": WHOLE_SHIFT, "pieces": [total(i / 6) for i in range(2881)], "film": [i / 7 for i in range(2881)]}
    )
    frame = frame.with_columns(pl.col("time").dt.replace_time_zone("Europe/Berlin"))
    frame.write_parquet(tmp_path / "log.parquet")
    proposed_and_made(tmp_path, (tmp_path / "log.parquet").read_bytes(), "wrap1.parquet")
    with pytest.raises(IntakeError, match="Parquet file cannot be opened"):
        (tmp_path / "bad.parquet").write_bytes(b"PAR1" + bytes(50))
        read_export(tmp_path / "bad.parquet", WORKS)


@pytest.mark.parametrize("form", ["lines", "array", "object"])
def test_json(tmp_path, form):
    listed = [
        {"time": f"{at:%Y-%m-%dT%H:%M:%S}", "counters": {"pieces": total(i / 6), "film": i / 10}}
        for i, at in enumerate(WHOLE_SHIFT)
    ]
    text = {
        "lines": "\n".join(map(json.dumps, listed)),
        "array": json.dumps(listed),
        "object": json.dumps({"machine": "x", "rows": listed}, indent=1),
    }[form]
    proposed_and_made(tmp_path, text, "wrap1.json")


def test_a_broken_line_of_json_is_a_refused_row(tmp_path):
    path = tmp_path / "a.jsonl"
    path.write_text(
        '{"time":"2026-06-08T06:00:00","n":1}\n{"time":"2026-06-08T06:00\n{"time":"2026-06-08T06:00:20","n":2.5}\n'
    )
    export = read_export(path, WORKS, layout=PIECES)
    adds_up(export)
    assert (export.rows, export.rows_refused) == (3, 1)
    assert export.refusals["row"].to_list() == [2]


#: An XLS workbook of five rows: Zeit, Stück, Film [m]. Written by a library for such workbooks, then packed.
XLS = (
    "c-rk)O-NKx6#nj;_naAj#+h+6M?nT5D-"
    "$7F6o!rk>88YTQE5N^%#fm^G0w&|S>~o62wEj=1cM?l+gMRT?t%iN7C}&GL7P@VK@0VD?wNN@Cj$peFy8mL=bn4+{q8;Q{+##odd"
    "4?9`mksYDX4)1i>4bH%WQ&@TNS*ZdefAu%3YL98=DGl7cFFlfu}jIoN^82de1?_gg#9Y_(bU>&Y_{NHyYYN9AF>Xg!G}Bq`+;mco"
    "1Z-{46_I=CORhEuXQhWy^Jz)zo%YG-D>*P`=mN#mBW$uJb_l`-nO3*|H1ycp-Q3g&QK-*1-OFS6j~}t0>X4F$P-"
    "D`e<)7F3W|uLo<a)q%sz(93X@`JF8-`s{a021ZdUA@WTuN-_`Mc9<uElYZoB<&y{xPU+gYg%~bnMO$P>Hw(@BiMizX!ta0E_-"
    "`RPTk^)X-ZH{&&44^47-_cD`yRNGz7HWx|%9H_~1A=!&K*-^Pl1(y#T-"
    "JSjT)gDS{Jn2)4!1Xk&#+~X9|Flo#a8JMOk9)<B730vOZrjHjGZhmaj(U!7qJY`UZ%XPG2c?^hPcgTt}UZ+b~E0Fw=L7RlRo_Q$m"
    "5dX&*2@UkJrzg4~)MHkJA0S$$P=q5Gq847`Y|!B&>2_g_RF1gMWk=m*%y6H?8MkE*6l<s*h!|Bxgq~l{9OvBwM7gr%=c?KlXeK3L"
    "i=vWKUP~Bulo}QrbH-"
    "j}`thS|*IU*S^$FvCneEktWG4&R1N=DqIJ1vnE@!6xYFA{|U*xU!b`9DqNkpK7!)v%)N42a`zP~uCWT&VD6Tl=>o+yl6xp3xi5o~"
    "Tci0gDQ}L#_itpvh7B7wY}l}2!^XNo@GI)lhXKE;$yaoz^<QU!(xUyF<iEvH^wE`|Z^?t`r96&-"
    "wDwN{459iGYvic^g%ZbT^f<cF&VF>Ky?^QRM=ZaeH50w-cZAX%e=!|D|MB?00PFPce*"
)


def test_old_workbooks(tmp_path):
    path = tmp_path / "log.xls"
    path.write_bytes(zlib.decompress(base64.b85decode(XLS)))
    export = read_export(path, WORKS, layout=layout_of({"Stück": "pieces", "Film [m]": "film"}, time="Zeit"))
    adds_up(export)
    assert values(export, "pieces") == [5000, 5350, 5700, 6050, 6400]
    assert utc(export)[-1] == "2026-06-08 04:04:00"


def test_text_by_the_name_of_an_old_workbook(tmp_path):
    path = tmp_path / "log.xls"
    path.write_text("time\tn\n2026-06-08 06:00:00\t7\n")
    assert values(read_export(path, WORKS, layout=PIECES), "pieces") == [7]


def test_a_protected_workbook_says_so(tmp_path):
    path = tmp_path / "log.xlsx"
    path.write_bytes(
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600) + "EncryptedPackage".encode("utf-16-le") + bytes(99)
    )
    with pytest.raises(IntakeError, match="protected by a password"):
        read_export(path, WORKS)


def test_a_sheet_for_each_day(tmp_path):
    path = tmp_path / "week.xlsx"
    book = xlsxwriter.Workbook(str(path))
    for day in range(8, 11):
        sheet = book.add_worksheet(f"{day}.6.")
        sheet.write_row(0, 0, ["time", "pieces"])
        for i in range(49):
            at = datetime(2026, 6, day, 6) + timedelta(minutes=10 * i)  # noqa: DTZ001 - a cell
            sheet.write_row(i + 1, 0, [f"{at:%Y-%m-%d %H:%M:%S}", (day - 8) * MADE + 3500 * i])
    book.close()
    works = SmallWorks(tmp_path / "works")
    taken = works.take(path.read_bytes(), "wrap1.xlsx", answers={})
    assert taken.receipt is not None, taken
    assert taken.receipt.rows == 3 * 49
    for day in ("2026-06-08", "2026-06-09", "2026-06-10"):
        assert works.made(day) == (MADE, MADE, MADE)


def test_fixed_width(tmp_path):
    lines = [f"{'Zeit':<24}{'Stück':>10}{'Folie m':>12}"]
    lines += [
        f"{f'{at:%d.%m.%Y %H:%M:%S}':<24}{total(i / 6):>10}{i / 10:>12.1f}".replace(".", ".")
        for i, at in enumerate(WHOLE_SHIFT)
    ]
    taken = proposed_and_made(tmp_path, "Report of the night\n\n" + "\n".join(lines) + "\n", "wrap1.prn")
    assert set(taken.accepted.columns) == {"Stück", "Folie m"}


CLOCKS = rows(WHOLE_SHIFT, total, form="%H:%M:%S")


@pytest.mark.parametrize(
    ("text", "name"),
    [
        (f"time;pieces\n{CLOCKS}", "wrap1_2026-06-08.csv"),
        (f"time;pieces\n{CLOCKS}", "wrap1_20260608.csv"),
        (f"Report 08.06.2026\ntime;pieces\n{CLOCKS}", "wrap1.csv"),
        ("time;pieces\n" + CLOCKS.replace("06:00:00;", "2026-06-08 06:00:00;", 1), "wrap1.csv"),
    ],
)
def test_clocks_without_a_date(tmp_path, text, name):
    proposed_and_made(tmp_path, text, name)


def test_clocks_without_any_date_are_refused(tmp_path):
    path = tmp_path / "wrap1.csv"
    path.write_text(f"time;n\n{CLOCKS}")
    with pytest.raises(IntakeError, match=r"times have no date: the first is '06:00:00'.*2026-06-08"):
        read_export(path, WORKS, layout=PIECES)


def test_clocks_run_over_midnight(read):
    text = "time;n\n22:00:00;1\n23:59:50;2\n00:00:10;3\n06:00;4\n"
    export = read(text, PIECES, name="log 2026-06-08.csv")
    assert utc(export) == ["2026-06-08 20:00:00", "2026-06-08 21:59:50", "2026-06-08 22:00:10", "2026-06-09 04:00:00"]


def test_units_and_signs_in_cells(read):
    cells = ("+12,5 m;350 pcs", "41 ft;+400", "7 kg;410")
    text = "time;film;n\n" + "".join(f"2026-06-08 06:00:{i}0;{cell}\n" for i, cell in enumerate(cells))
    export = read(text, layout_of({"film": "film", "n": "pieces"}))
    assert values(export, "film") == pytest.approx([12.5, 41 * 0.3048])
    assert values(export, "pieces") == [350, 400, 410]
    assert export.refusals["text"].to_list() == ["7 kg"]


def test_a_spreadsheets_quoted_texts(read):
    export = read('time;n\n="2026-06-08 06:00:00";="00123"\n="2026-06-08 06:00:10";="124"\n', PIECES)
    assert values(export, "pieces") == [123, 124]


@pytest.mark.parametrize(
    ("stamp", "moment"),
    [
        ("2026-06-08 06:00:00 CEST", "2026-06-08 04:00:00"),
        ("2026-01-08 06:00:00 MEZ", "2026-01-08 05:00:00"),
        ("08.06.2026 06:00:00 EDT", "2026-06-08 10:00:00"),
        ("2026-06-08 06:00:00 (UTC)", "2026-06-08 06:00:00"),
    ],
)
def test_zones_behind_stamps(read, stamp, moment):
    assert utc(read(f"time;n\n{stamp};1\n", PIECES)) == [moment]


@pytest.mark.parametrize("digits", [0, 3, 6, 9])
def test_epochs(read, digits):
    at = int(datetime(2026, 6, 8, 4, tzinfo=UTC).timestamp()) * 10**digits
    export = read(f"time;n\n{at};1\n{at + 10 * 10**digits};2\n", PIECES)
    assert utc(export) == ["2026-06-08 04:00:00", "2026-06-08 04:00:10"]


@pytest.mark.parametrize("encoding", ["cp850", "cp437"])
def test_encodings_by_key(tmp_path, encoding):
    path = tmp_path / "log.csv"
    path.write_bytes("Zeit;Stück\n2026-06-08 06:00:00;7\n".encode(encoding))
    layout = layout_of({"Stück": "pieces"}, time="Zeit", encoding=encoding)
    export = read_export(path, WORKS.model_copy(update={"layouts": (layout,)}))
    assert values(export, "pieces") == [7]


def test_a_zip_of_exports(tmp_path):
    works = SmallWorks(tmp_path / "works")
    path = works.folder / "exports.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for part in range(3):
            some = rows(WHOLE_SHIFT[part * 1000 : (part + 1) * 1000], total)
            archive.writestr(f"log/wrap1_{part + 10}.csv", "time;pieces\n" + some)
        archive.writestr("log/notes.md", "no export")
        archive.writestr("log/wrap1_99.csv", "time;pieces\n\x00\x01\x02\n")
    with Works(works.folder) as opened:
        taken = opened.take([path], accept=True, chosen={})
        again = opened.take([path], accept=True, chosen={})
    assert [one.path.name for one in taken if one.receipt] == ["wrap1_10.csv", "wrap1_11.csv", "wrap1_12.csv"]
    assert [one.receipt.already for one in again if one.receipt] == [True, True, True]
    assert works.made() == (MADE, MADE, MADE)


def test_bad_zips(tmp_path):
    works = SmallWorks(tmp_path / "works")
    with zipfile.ZipFile(works.folder / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.csv", b"0" * 80_000_000)
    with zipfile.ZipFile(works.folder / "none.zip", "w") as archive:
        archive.writestr("a.md", "x")
    (works.folder / "cut.zip").write_bytes((works.folder / "none.zip").read_bytes()[:40])
    with Works(works.folder) as opened:
        said = {one.path.name: str(one.error) for one in opened.take(sorted(works.folder.glob("*.zip")))}
    assert "the zip holds 1 files of 80 MB" in said["bomb.zip"]
    assert "no exports in this zip" in said["none.zip"]
    assert "not a workbook" in said["cut.zip"] or "zip" in said["cut.zip"]


def test_a_gzip_that_holds_far_too_much(tmp_path):
    path = tmp_path / "a.csv.gz"
    path.write_bytes(gzip.compress(b"0" * 90_000_000))
    with pytest.raises(IntakeError, match="more than 200 times its size"):
        read_export(path, WORKS)


def test_far_too_many_columns(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time;" + ";".join(f"c{i}" for i in range(9000)) + "\n2026-06-08 06:00:00" + ";1" * 9000 + "\n")
    with pytest.raises(IntakeError, match=r"the file has 9,001 columns; expected 2,000 or fewer"):
        read_export(path, WORKS)


@pytest.mark.parametrize(
    "cell", ['"two\rlines"', '"' + "x" * 200_000 + '"', "y" * 200_000, '"a ""b"" ' + "z" * 150_000 + '"']
)
def test_long_cells_and_bare_returns_stop_nothing(tmp_path, cell):
    works = SmallWorks(tmp_path / "works")
    for name, text in {
        "wrap1_10.csv": "time;pieces;note\n" + rows(WHOLE_SHIFT, total, lambda _: "n"),
        "wrap1_11.csv": f"time;pieces;note\n2026-06-08 15:00:00;200000;{cell}\n2026-06-08 15:01:00;200100;n\n",
        "wrap1_12.csv": "time;pieces;note\n2026-06-08 16:00:00;210000;n\n",
    }.items():
        (works.folder / name).write_text(text, newline="")
    with Works(works.folder) as opened:
        taken = opened.take(sorted(works.folder.glob("*.csv")), accept=True, chosen={})
    assert [one.receipt is not None for one in taken] == [True, True, True], taken
    assert taken[1].receipt.rows == 2
