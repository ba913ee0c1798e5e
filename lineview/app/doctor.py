"""Looking a works over and mending it from its originals."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from lineview.app.works import Works
from lineview.core.errors import Fault, LineviewError, StoreError
from lineview.core.language import mark, tr
from lineview.intake.exports import Export
from lineview.intake.read import read_export
from lineview.plant import Plant
from lineview.plant.read import plant_of_json
from lineview.store.doctor import Finding, examine, mend

#: Hashes of passwords are kept in the journal alone, so that a copy of the exports lets nobody in.
NO_USERS = mark(
    "the journal was made anew, and knows no users, paired screens or audit table: add each "
    "user again, lineview user add NAME --role ROLE; a damaged journal stays beside it as "
    "damaged-….sqlite"
)


def look_over(folder: Path, url: str | None) -> list[Finding]:
    """What of a works' store is not as it was written.

    Parameters
    ----------
    folder : pathlib.Path
        The works folder.
    url : str or None
        The journal's address; None where it stands in the store.
    """
    return examine(folder / "store", url)


def repair(folder: Path, url: str | None, report: Callable[[str], None]) -> list[Finding]:
    """Mend all that can be made anew from the rest of the store.

    Parameters
    ----------
    folder : pathlib.Path
        The works folder.
    url : str or None
        The journal's address; None where it stands in the store.
    report : callable
        Given a line for each thing that is made anew, or cannot be.

    Returns
    -------
    list of Finding
        What is still not as it was written.
    """
    store = folder / "store"
    findings = examine(store, url)
    if not any(finding.is_damage for finding in findings):
        return findings
    mend(store, url, findings)
    with Works(folder, url) as works:
        if any(finding.part == "journal" for finding in findings) and not works.store.accounts.users():
            report(tr(NO_USERS))
        works.store.describe(works.plant.model_dump_json())  # in the place of a copy that was damaged
        lost_ids = works.store.lost_intakes()
        damaged = sorted(
            {finding.intake for finding in findings if finding.part == "file" and finding.intake is not None}
            | set(lost_ids)
        )
        repaired = []
        for intake in damaged:
            try:
                works.store.remake(intake, lambda path, name, plant: _read(path, name, plant, works.plant))
            except LineviewError as error:
                report(tr("intake {intake}: {error}", intake=intake, error=error))
            else:
                repaired.append(intake)
                report(tr("intake {intake} was made anew from its original", intake=intake))
        works.store.note_disputes(repaired)
    return examine(store, url)


def _read(original: Path, name: str, description: str | None, plant: Plant) -> Export:
    """Read an original as it was read when it was taken in, by the plant description of that time."""
    then = plant
    if description is not None:
        content = json.loads(description)
        for machine in content["machines"]:  # every band stands in it, written by somebody or not: it holds none again
            machine.pop("nominal_per_min", None)
        then = plant_of_json(content)
    with TemporaryDirectory() as folder:
        path = Path(folder) / (Path(name).name or "export")
        path.symlink_to(original.resolve())
        export = read_export(path, then)
    if isinstance(export, Export):
        return export
    do = tr("Put back the layout by which it was taken in, then run lineview doctor --repair again")
    raise StoreError(Fault(tr("no layout fits the original any more"), name, tr("the layout of then"), do))
