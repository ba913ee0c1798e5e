"""The edge that reads the dated tables of net-contents rules shipped with the package."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from lineview.core.resources import shipped
from lineview.measures.contents_rules import ContentsRules, Sampling, Shortage

#: By a short name of our own: the file that holds the rules.
FILES = {"hb133": "net-contents-hb133.toml", "eu": "net-contents-eu.toml", "r87": "net-contents-r87.toml"}


def net_contents_tables() -> dict[str, ContentsRules]:
    """Read every shipped table.

    Returns
    -------
    dict
        "hb133", "eu" and "r87" to their rules.

    Examples
    --------
    >>> net_contents_tables()["eu"].allowance_g(150)
    6.8
    """
    return {name: read_table(shipped("data") / file) for name, file in FILES.items()}


def read_table(path: Path) -> ContentsRules:
    """Read one table.

    Parameters
    ----------
    path : pathlib.Path
        A TOML file as in data/net-contents-*.toml.

    Returns
    -------
    ContentsRules
        As values.
    """
    with path.open("rb") as file:
        table = tomllib.load(file)
    return ContentsRules(
        name=table["name"],
        title=table["title"],
        edition=table["edition"],
        compared_with_document=table["compared_with_document"],
        written_on=table["written_on"],
        source=table["source"],
        sampling=tuple(_sampling(row) for row in table["sampling"]),
        shortages=tuple(
            Shortage(float(r["from_g"]), r.get("grams"), r.get("percent")) for r in table["shortage"]
        ),
        correction={int(n): float(k) for n, k in table.get("correction", {}).items()},
        round_up=tuple((float(a), float(b)) for a, b in table.get("round_up", [])),
        never_beyond=table.get("never_beyond"),
        packers_share=table.get("packers_share"),
        not_compared=table.get("not_compared", "table"),
    )


def _sampling(row: dict[str, Any]) -> Sampling:
    packages = row["packages"]
    return Sampling(
        lot_from=row["lot_from"],
        lot_to=row.get("lot_to"),
        packages=None if packages == "all" else packages,
        beyond=row.get("beyond", 0),
        beyond_share=row.get("beyond_share"),
        mean_packages=row.get("mean_packages"),
        mean_factor=row.get("mean_factor"),
    )
