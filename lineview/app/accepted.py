"""layouts.toml: the layouts that were proposed and accepted, one after the other."""

from __future__ import annotations

from pathlib import Path

from lineview.core.language import tr
from lineview.plant import Layout
from lineview.plant.read import read_plant
from lineview.plant.write import layout_toml
from lineview.store.files import locked, storage_errors, write_file

_HEAD = "# Layouts proposed by intake and accepted; edit them like those in plant.toml.\n"


def keep_layout(folder: Path, layout: Layout) -> Layout:
    """Add an accepted layout to layouts.toml, whole and on the disk or not at all; give it as it stands there.

    It gets another id where its own was taken by a different layout. Raises `StoreError` where the file cannot be
    written, `PlantError` where plant.toml or layouts.toml is wrong, with this layout or without it.
    """
    path, description = folder / "layouts.toml", folder / "plant.toml"
    with storage_errors(tr("keep the layout in layouts.toml")), locked(folder / ".layouts.lock"):
        there = {earlier.id: earlier for earlier in read_plant(description, path).layouts}
        name, count = layout.id, 1
        while name in there:
            if there[name].model_copy(update={"id": layout.id}) == layout:
                return there[name]
            count += 1
            name = f"{layout.id}-{count}"
        renamed = layout.model_copy(update={"id": name})
        before = path.read_text(encoding="utf-8") if path.exists() else _HEAD
        text = f"{before.rstrip()}\n\n{layout_toml(renamed)}"

        def write(part: Path) -> None:
            part.write_text(text, encoding="utf-8")
            read_plant(description, part)  # what cannot be read back is never put in place

        write_file(path, write)
    return renamed
