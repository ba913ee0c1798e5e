"""What the command line does with users: add, list, remove, set password and roles."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from getpass import getpass
from pathlib import Path

from rich.table import Table
from rich.text import Text

from lineview.app.access import check_password, rights_of
from lineview.app.works import Works
from lineview.cli.console import console, print_table
from lineview.core.errors import AskError, Fault
from lineview.core.language import tr


def add_user(works: Works, name: str, roles: Sequence[str], password_file: Path | None) -> None:
    """Add a user with a password that is asked for or read."""
    rights = rights_of(roles)  # a wrong role is refused before a password is typed
    works.access.add_user(name, rights, _password(name, password_file))
    console.print(Text(_may(name, rights)))


def _may(name: str, rights: Sequence[str]) -> str:
    return tr("{name} may {rights}.", name=name, rights=", ".join(map(tr, rights)))


def list_users(works: Works) -> None:
    """Print users and rights."""
    users = works.access.accounts.users()
    if not users:
        console.print(tr("There are no users; the board answers this machine alone."))
        return
    table = Table(tr("name"), tr("may"), box=None)
    for user in users:
        table.add_row(Text(user.name), ", ".join(map(tr, user.rights)))
    print_table(table)


def remove_user(works: Works, name: str) -> None:
    """Remove a user."""
    works.access.accounts.remove_user(works.access.known(name))
    console.print(Text(tr("{name} was removed and is signed out everywhere.", name=name)))


def set_password(works: Works, name: str, password_file: Path | None) -> None:
    """Set a user's password."""
    user = works.access.known(name)
    works.access.set_password(user, _password(user.name, password_file))
    console.print(Text(tr("{name} has a new password and is signed out everywhere.", name=user.name)))


def set_roles(works: Works, name: str, roles: Sequence[str]) -> None:
    """Set a user's rights."""
    user = works.access.known(name)
    works.access.set_rights(user, roles)
    console.print(Text(_may(user.name, rights_of(roles))))


def _password(name: str, file: Path | None) -> str:
    if file is not None:
        try:
            password = file.read_text(encoding="utf-8").partition("\n")[0].rstrip("\r")
        except (OSError, UnicodeDecodeError):
            raise AskError(Fault(tr("cannot be read"), str(file), tr("a file with the password in it"))) from None
        check_password(password, name)
        return password
    if not sys.stdin.isatty():
        do = tr("Run it in a terminal or name a file: --password-file FILE.")
        raise AskError(Fault(tr("the password cannot be asked for here"), tr("password"), do=do))
    password = getpass(tr("Password, 12 characters or more: "))
    check_password(password, name)
    if getpass(tr("The same again: ")) != password:
        raise AskError(Fault(tr("the two passwords differ"), tr("password")))
    return password
