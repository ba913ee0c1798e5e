"""Exports uploaded to the board: decoded, taken in, and what became of them."""

from __future__ import annotations

import base64
import binascii
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath, PureWindowsPath

from lineview import show
from lineview.errors import Fault, IntakeError, LineviewError
from lineview.intake.export import Proposal
from lineview.take_in import Taken
from lineview.works import Works


@dataclass(frozen=True)
class TakeOutcome:
    """What became of one uploaded export: taken in, proposed or faulty.

    Parameters
    ----------
    file_name : str
        As uploaded, without folders.
    receipt : str
        What happened, in whole sentences; "" where nothing was taken in.
    counts : mapping of str to int
        Words and counts of rows to show beside it, in order.
    intake : int or None
        The intake's id, for its refusals.
    proposal : Proposal or None
        Where no layout fits the file: what is proposed, and what has to be asked.
    faults : sequence of Fault
        Why it could not be taken in.
    """

    file_name: str
    receipt: str = ""
    counts: Mapping[str, int] = field(default_factory=dict)
    intake: int | None = None
    proposal: Proposal | None = None
    faults: Sequence[Fault] = ()


def decoded(contents: str, name: str) -> bytes:
    """Give the bytes of a dropped file.

    Parameters
    ----------
    contents : str
        As the browser sends it, base64 after a comma.
    name : str
        For the fault.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    IntakeError
        Where it did not arrive whole.
    """
    try:
        return base64.b64decode(contents.partition(",")[2], validate=True)
    except (binascii.Error, ValueError):
        raise IntakeError(Fault("the file did not arrive whole", name, do="Upload it again.")) from None


def take_upload(
    works: Works, file_name: str, data: bytes, accept: bool = False, settled: Mapping[str, str] | None = None
) -> TakeOutcome:
    """Take an uploaded export in.

    Parameters
    ----------
    works : Works
        Where to.
    file_name : str
        As the browser gives it; folders in it are left out.
    data : bytes
        The file.
    accept : bool
        Whether to accept and keep a proposed layout.
    settled : mapping of str to str, optional
        Answers to the proposal's questions.

    Returns
    -------
    TakeOutcome
        Also for a file that cannot be read.
    """
    name = PureWindowsPath(PurePosixPath(file_name).name).name or "export"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        try:
            return outcome_of(name, works.take([path], accept=accept, settled=settled)[0])
        except LineviewError as error:
            return TakeOutcome(name, faults=error.faults)


def outcome_of(name: str, taken: Taken) -> TakeOutcome:
    """Give what became of one export in words.

    Parameters
    ----------
    name : str
        Of the file.
    taken : Taken
        From Works.take.

    Returns
    -------
    TakeOutcome
        With its counts of rows where it was taken in.
    """
    if taken.error is not None:
        return TakeOutcome(name, faults=taken.error.faults)
    if taken.receipt is None:
        return TakeOutcome(name, proposal=taken.proposal)
    r = taken.receipt
    said = f"{name} was taken in before; nothing changed."
    if not r.already:
        rows, kept, refused = (show.number(count) for count in (r.rows, r.kept, r.refused))
        said = f"{name} is in as intake {r.intake}: {rows} rows, {kept} kept, {refused} refused."
    counts = {
        "rows": r.rows,
        "kept": r.kept,
        "duplicate": r.duplicate,
        "refused": r.refused,
        "unclear": r.uncertain,
        "in conflict": r.conflicts,
    }
    return TakeOutcome(name, " ".join((said, *taken.notes)), counts, r.intake)
