"""Answers written to files from the command line."""

from __future__ import annotations

from pathlib import Path

from lineview.answers.answer import Answer
from lineview.cli_console import console
from lineview.errors import AskError, Fault
from lineview.plant import Plant
from lineview.question_scope import QuestionScope
from lineview.sheets.page import to_pdf
from lineview.sheets.table_csv import to_csv
from lineview.sheets.workbook import to_xlsx
from lineview.works import Works

FORMS = {".pdf": to_pdf, ".xlsx": to_xlsx, ".csv": to_csv}


def write_sheet(works: Works, asked: QuestionScope, file: Path) -> None:
    """Answer a question and write it to a file.

    Parameters
    ----------
    works : Works
        Opened.
    asked : QuestionScope
        What is asked.
    file : pathlib.Path
        Its ending says which form.

    Raises
    ------
    AskError
        For an unknown ending, line, machine or shift, or a file that cannot be written.
    """
    if file.suffix.lower() not in FORMS:
        raise AskError(
            Fault(f"'{file.suffix}' is no form of sheet", str(file), "a name ending in .pdf, .xlsx or .csv")
        )
    answer = works.ask(asked)
    made = sheet_bytes(answer, works.plant, file.suffix.lower())
    try:
        file.write_bytes(made)
    except OSError as error:
        raise AskError(Fault(f"cannot be written: {error.strerror}", str(file))) from None
    console.print(f"Wrote {file}", markup=False, soft_wrap=True)


def sheet_bytes(answer: Answer, plant: Plant, ending: str) -> bytes:
    """Give an answer in one form.

    Parameters
    ----------
    answer : Answer
        Of any question.
    plant : Plant
        Shop name, zone, units.
    ending : str
        ".pdf", ".xlsx" or ".csv".

    Returns
    -------
    bytes
        The file's content.
    """
    return FORMS[ending](answer, plant)
