"""Layouts proposed for files that none fits: found by words and values, asked where the file cannot tell."""

from __future__ import annotations

from pathlib import Path

import pytest

from lineview.core.errors import IntakeError
from lineview.intake.exports import Export, Proposal
from lineview.intake.layout.propose import settle
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, adds_up


def proposed(tmp_path: Path, content: str, name: str = "wrap1_20260608.csv") -> Proposal:
    path = tmp_path / name
    path.write_text(content, encoding="utf-8")
    found = read_export(path, WORKS)
    assert isinstance(found, Proposal)
    return found


def accepted(proposal: Proposal, answers: dict[str, str] | None = None) -> Export:
    export = read_export(proposal.path, WORKS, layout=settle(proposal, answers or {}))
    assert isinstance(export, Export)
    adds_up(export)
    return export


def targets(proposal: Proposal) -> dict[str, str]:
    return {header: target.to for header, target in proposal.layout.columns.items()}


@pytest.mark.parametrize(
    ("time", "pieces", "rejects", "film"),
    [
        ("Timestamp", "Piece count", "Rejects", "Film [m]"),
        ("Zeitstempel", "Stück gesamt", "Ausschuss", "Folie [m]"),
        ("Horodatage", "Nombre de pièces", "Rebuts", "Pellicule [m]"),
        ("Fecha y hora", "Piezas", "Rechazos", "Película [m]"),
        ("Data e ora", "Pezzi", "Scarti", "Pellicola [m]"),
        ("Tijdstip", "Aantal stuks", "Uitval", "Folie [m]"),
    ],
)
def test_counters_in_six_languages(tmp_path, time, pieces, rejects, film):
    rows = "".join(f"2026-06-08 06:00:{i}0;{100 + 58 * i};{i};{3 * i}\n" for i in range(6))
    proposal = proposed(tmp_path, f"{time};{pieces};{rejects};{film}\n{rows}")
    assert targets(proposal) == {pieces: "pieces", rejects: "rejects", film: "film"}
    assert proposal.questions == ()
    assert proposal.layout.machine == "wrap1"
    assert proposal.layout.files == "wrap1_*.csv"
    assert proposal.layout.columns[film].unit == "m"
    assert proposal.sample.height == 18
    export = accepted(proposal)
    assert (export.rows, export.rows_refused) == (6, 0)


def test_gauges_with_units_in_a_units_row(tmp_path):
    text = "Zeit;Strang Ø;Temperatur\n;in;°F\n08.06.2026 06:00:00;0,551;95,5\n08.06.2026 06:00:10;0,552;95,4\n"
    proposal = proposed(tmp_path, text, "logger.csv")
    assert targets(proposal) == {"Strang Ø": "diameter", "Temperatur": "temperature"}
    assert proposal.layout.machine == "sizer1"
    assert proposal.layout.decimal == ","
    assert proposal.layout.time_format == "%d.%m.%Y %H:%M:%S"
    values = accepted(proposal).parts[0].tidy.filter(channel="diameter")["value"].to_list()
    assert values == pytest.approx([13.9954, 14.0208])


def test_a_diameters_unit_is_told_by_the_products_and_a_temperatures_is_asked(tmp_path):
    text = "time;rope diameter;temp\n2026-06-08 06:00:00;0.55;95.5\n2026-06-08 06:00:10;0.56;95.4\n"
    proposal = proposed(tmp_path, text, "sizer1.csv")
    assert proposal.layout.columns["rope diameter"].unit == "in"
    assert [question.about for question in proposal.questions] == ["unit of temp"]
    with pytest.raises(IntakeError, match="unit of temp"):
        settle(proposal, {})
    export = accepted(proposal, {"unit of temp": "°F"})
    assert export.parts[0].tidy.filter(channel="temperature")["value"][0] == pytest.approx(35.277777777)


def test_what_cannot_be_told_is_asked_not_guessed(tmp_path):
    text = "time;count;film length\n05/06/2026 06:00;1,234;7\n06/06/2026 06:00;1,300;8\n"
    proposal = proposed(tmp_path, text)
    about = {question.about: question for question in proposal.questions}
    assert set(about) == {"time_format", "decimal", "to of count"} or set(about) == {"time_format", "decimal"}
    assert about["decimal"].options == ((".", "1,234 means 1234"), (",", "1,234 means 1.234"))
    answers = {name: question.options[0][0] for name, question in about.items()}
    export = accepted(proposal, answers)
    assert export.parts[0].tidy.filter(channel="pieces")["value"].to_list() == [1234, 1300]
    assert f"{export.parts[0].tidy['at'].min():%d %B}" == "05 June"
    with pytest.raises(IntakeError, match="cannot be answered by 'maybe'"):
        settle(proposal, {**answers, "decimal": "maybe"})


def test_the_machine_is_asked_where_several_fit(tmp_path):
    proposal = proposed(tmp_path, "time;pieces;rejects\n2026-06-08 06:00:00;1;0\n", "machine.csv")
    (question,) = proposal.questions
    assert question.about == "machine"
    assert {option for option, _ in question.options} == {"wrap1", "wrap2"}
    assert accepted(proposal, {"machine": "wrap2"}).parts[0].tidy["machine"].unique().to_list() == ["wrap2"]


def test_a_machine_column_is_seen(tmp_path):
    text = "time,machine,pieces\n2026-06-08 06:00:00,wrap1,5\n2026-06-08 06:00:00,wrap2,7\n"
    proposal = proposed(tmp_path, text, "all.csv")
    assert proposal.layout.machine_column == "machine"
    assert accepted(proposal).parts[0].tidy["machine"].sort().to_list() == ["wrap1", "wrap2"]


def test_a_long_table(tmp_path):
    rows = "".join(
        f"2026-06-08T06:00:{i}0Z\tW1.{tag}\t{value}\tGood\n"
        for i in range(4)
        for tag, value in (("Pieces", i), ("Rejects", 0), ("State", "Run"))
    )
    proposal = proposed(tmp_path, "timestamp\ttag\tvalue\tquality\n" + rows, "wrap1_long.tsv")
    layout = proposal.layout
    assert (layout.shape, layout.name_column, layout.value_column, layout.quality_column) == (
        "long", "tag", "value", "quality",
    )  # fmt: skip
    assert targets(proposal) == {"W1.Pieces": "pieces", "W1.Rejects": "rejects", "W1.State": "state"}
    assert accepted(proposal).rows_refused == 0


def test_date_and_clock_columns_and_a_preamble_that_names_the_machine(tmp_path):
    text = "Machine: wrap2\nShop: invented\n\nDatum;Uhrzeit;Stück\n08.06.2026;06:00:00;5\n08.06.2026;06:00:10;9\n"
    proposal = proposed(tmp_path, text, "export.csv")
    assert proposal.layout.time == ("Datum", "Uhrzeit")
    assert proposal.layout.machine == "wrap2"
    assert accepted(proposal).rows == 2


@pytest.mark.parametrize(
    ("name", "text", "kind", "columns"),
    [
        (
            "weights_wrap1.csv",
            "when,grams,batch,sample\n2026-06-08 06:00:00,6.52,B1,1\n2026-06-08 06:01:00,6.4,B1,2\n",
            "weights",
            {"grams": "mass_g", "batch": "batch", "sample": "sample"},
        ),
        (
            "chargen.csv",
            "Beginn;Charge;Sorte;Einwaage [kg];Linie\n08.06.2026 06:00;B1;Pflaume;22,7;line1\n",
            "batches",
            {"Charge": "batch", "Sorte": "product", "Einwaage [kg]": "mass_in_kg"},
        ),
        (
            "stillstand_wrap1.csv",
            "Beginn;Ende;Grund\n08.06.2026 06:00;08.06.2026 06:04;Stau\n",
            "stops",
            {"Ende": "end", "Grund": "reason"},
        ),
        (
            "reels_wrap1.csv",
            "time;web;reel;length [m];left [m];splices\n2026-06-08 06:00;wax;R1;2800;12;1\n",
            "reels",
            {
                "web": "web", "reel": "reel", "length [m]": "length_m", "left [m]": "left_m",
                "splices": "splices",
            },
        ),
        (
            "stock.csv",
            "counted;web;whole reels;part diameter mm;on order\n2026-06-08 06:00;wax;3;210;2\n",
            "stock",
            {
                "web": "web", "whole reels": "whole_reels", "part diameter mm": "part_reel_outer_mm",
                "on order": "on_order_reels",
            },
        ),
        (
            "plan_line1.csv",
            "date;product;planned pieces\n2026-06-08;Plum;120000\n",
            "plan",
            {"product": "product", "planned pieces": "pieces"},
        ),
    ],
)  # fmt: skip
def test_the_other_kinds(tmp_path, name, text, kind, columns):
    proposal = proposed(tmp_path, text, name)
    assert proposal.layout.kind == kind
    assert columns.items() <= targets(proposal).items()
    answers = {question.about: question.options[0][0] for question in proposal.questions}
    export = accepted(proposal, answers)
    assert export.rows_refused == 0
    assert export.parts[0].kind == kind


def test_a_header_that_nobody_knows_is_left_out_and_named(tmp_path):
    proposal = proposed(tmp_path, "time;pieces;humidity\n2026-06-08 06:00:00;1;40\n")
    assert any("humidity" in note for note in proposal.notes)


def test_a_layout_that_takes_the_file_but_not_its_headers_is_named(tmp_path):
    from tests.intake.invented_works import layout_of

    plant = WORKS.model_copy(update={"layouts": (layout_of({"Stück": "pieces", "x": "rejects"}, files="*.csv"),)})
    path = tmp_path / "wrap1.csv"
    path.write_text("time;pieces\n2026-06-08 06:00:00;1\n")
    found = read_export(path, plant)
    assert isinstance(found, Proposal)
    assert any("'test'" in note and "Stück" in note for note in found.notes)


def test_proposed_ids_do_not_clash(tmp_path):
    from tests.intake.invented_works import layout_of

    plant = WORKS.model_copy(update={"layouts": (layout_of({"zz": "pieces"}, id="wrap1", files="q*"),)})
    path = tmp_path / "wrap1_20260608.csv"
    path.write_text("time;pieces\n2026-06-08 06:00:00;1\n")
    found = read_export(path, plant)
    assert isinstance(found, Proposal)
    assert found.layout.id == "wrap1 2"


def test_a_diameters_unit_is_told_by_the_last_word_of_its_heading(tmp_path):
    text = "Zeit;Durchmesser mm;Temperatur\n08.06.2026 06:00:00;99,5;95,5\n08.06.2026 06:00:10;99,6;95,4\n"
    proposal = proposed(tmp_path, text, "sizer1.csv")
    assert proposal.layout.columns["Durchmesser mm"].unit == "mm"
    assert [question.about for question in proposal.questions] == ["unit of Temperatur"]
    asked = proposed(tmp_path, text.replace("Durchmesser mm", "Durchmesser"), "sizer1.csv")
    assert [question.about for question in asked.questions] == ["unit of Durchmesser", "unit of Temperatur"]
