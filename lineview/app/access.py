"""Who may do what on the board: rights, passwords, signed-in browsers, paired screens, refused tries."""

from __future__ import annotations

import ipaddress
import secrets
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from hashlib import sha256
from hmac import new as hmac_of
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING

from lineview.core.errors import AskError, Fault
from lineview.core.language import mark, tr
from lineview.core.resources import shipped
from lineview.store.audit import acting, become
from lineview.store.files import write_file

if TYPE_CHECKING:
    from argon2 import PasswordHasher

    from lineview.store.accounts import Accounts, Session, User

#: What a person may be allowed, in the words of the board; the command line writes "take-in".
RIGHTS = ("see", "note", "take in", "order", "administer")
#: A working day, with a shift that runs over.
SESSION = timedelta(hours=12)
#: A screen on a wall stays paired until it is revoked, at most so long.
SCREEN = timedelta(days=400)
CODE = timedelta(minutes=10)
#: Signs of a code: none that is read for another. Ten of 30 signs are some 49 bits.
CODE_SIGNS, CODE_LENGTH = "ABCDEFGHJKMNPQRSTUVWXYZ2345678", 10
LEAST_PASSWORD, MOST_PASSWORD, MOST_NAME = 12, 200, 60
#: Addresses with names that got in of late.
MOST_CAME_FROM = 1_000
#: Bytes of the mark of a common password, characters of one, and of a name that is looked for within another.
MARK_BYTES, LEAST_COMMON, LEAST_NAME = 6, 6, 4
#: Characters that a password must have beside names and common passwords.
LEAST_OF_ONES_OWN = 6


@dataclass(frozen=True)
class Person:
    """Whoever asks: a name, the rights, and the session, which is None on this machine.

    Parameters
    ----------
    name : str
        Of the person or the paired screen.
    rights : frozenset of str
        Of RIGHTS.
    session : Session or None
        Of a browser that is signed in.
    """

    name: str
    rights: frozenset[str]
    session: Session | None = None

    def may(self, right: str) -> bool:
        """Whether this person may do what takes this right."""
        return right in self.rights

    @property
    def is_screen(self) -> bool:
        """Whether it is a paired screen and nobody in particular."""
        return self.session is not None and self.session.user is None


#: On the loopback address nobody signs in.
LOCAL = Person(mark("this machine"), frozenset(RIGHTS))


def rights_of(names: Iterable[str]) -> tuple[str, ...]:
    """The rights of these names, in order; everybody may see, who administers may do everything.

    Raises
    ------
    AskError
        With every name that is no right.
    """
    chosen = {name.strip().lower().replace("-", " ") for name in names} | {"see"}
    faults = [
        Fault(tr("'{name}' is no role", name=name), "--role", ", ".join(r.replace(" ", "-") for r in RIGHTS))
        for name in sorted(chosen - set(RIGHTS))
    ]
    if faults:
        raise AskError(faults)
    return RIGHTS if "administer" in chosen else tuple(right for right in RIGHTS if right in chosen)


class Tries:
    """How often somebody failed of late: after a few failures each further try has to wait.

    `free`: failures without a wait; `longest_s`: of the longest wait, which doubles with each failure; `clock`: seconds
    that only grow.
    """

    MOST_KEYS = 10_000
    FORGOTTEN_S = 3600.0

    def __init__(self, free: int, longest_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._free, self._longest_s, self._clock = free, longest_s, clock
        self._failed: dict[str, tuple[int, float]] = {}
        self._lock = Lock()

    def wait_s(self, key: str) -> float:
        """Seconds that this key still has to wait; 0 where it may try."""
        with self._lock:
            count, last = self._failed.get(key, (0, 0.0))
            if count < self._free:
                return 0.0
            return max(0.0, last + min(self._longest_s, 2.0 ** min(count - self._free, 20)) - self._clock())

    def fail(self, key: str) -> None:
        """Count a failure."""
        with self._lock:
            now = self._clock()
            if len(self._failed) >= self.MOST_KEYS:
                late = {k: v for k, v in self._failed.items() if now - v[1] < self.FORGOTTEN_S}
                self._failed = late if len(late) < self.MOST_KEYS else {}
            count, last = self._failed.get(key, (0, now))
            self._failed[key] = (1 if now - last > self.FORGOTTEN_S else count + 1, now)

    def forget(self, key: str) -> None:
        """Let a key begin anew."""
        with self._lock:
            self._failed.pop(key, None)


class Access:
    """Signing in and out, pairing screens, and who a browser's token belongs to.

    Parameters
    ----------
    accounts : Accounts
        Of the store.
    key_file : pathlib.Path
        Holds the secret that signs cookies; made where it is missing.
    context : callable
        Gives names that no password may lean on, such as the shop's.
    """

    def __init__(self, accounts: Accounts, key_file: Path, context: Callable[[], tuple[str, ...]] = tuple) -> None:
        self.accounts, self._context = accounts, context
        self._key_file = key_file
        self._hashing = Lock()  # one hash at a time: each takes 64 MiB
        self._by_pair, self._by_address = Tries(5, 900.0), Tries(30, 900.0)
        self._by_name = Tries(50, 60.0)  # who guesses from many addresses
        self._came_from: OrderedDict[str, None] = OrderedDict()  # pairs that got in: nobody else can keep them out
        self._key: bytes | None = None
        self._unknown = ""

    @property
    def key(self) -> bytes:
        """The secret of this works, 32 bytes."""
        if self._key is None:
            if not self._key_file.is_file():
                write_file(self._key_file, _write_secret)
            self._key = self._key_file.read_bytes()
        return self._key

    def mark(self, token: str) -> str:
        """What is kept of a token or code: from the journal alone neither can be guessed nor used."""
        return hmac_of(self.key, token.encode(), sha256).hexdigest()

    # -- people ------------------------------------------------------------------------------------

    def add_user(self, name: str, roles: Iterable[str], password: str) -> None:
        """Add a person.

        Raises
        ------
        AskError
            Where name, roles or password will not do.
        """
        name = " ".join(name.split())
        rights = rights_of(roles)
        _check_name(name)
        check_password(password, name, self._context())
        self.accounts.add_user(name, rights, self._hash(password))

    def known(self, name: str) -> User:
        """The person of this name."""
        user = self.accounts.user(" ".join(name.split()))
        if user is None:
            raise AskError(
                Fault(tr("there is no user '{name}'", name=name), "name", do=tr("List them: lineview user list"))
            )
        return user

    def set_password(self, user: User, password: str, keep: int | None = None) -> None:
        """Change a person's password, who is signed out everywhere but in the session `keep`."""
        check_password(password, user.name, self._context())
        self.accounts.set_password(user, self._hash(password), keep)

    def change_password(self, user: User, now: str, new: str, address: str, keep: int) -> None:
        """Change one's own password, which has to be entered once more.

        Raises
        ------
        AskError
            Where the password entered is not the present one, or the new one will not do.
        """
        pair = _pair(address, user.name)
        self._check_tries(address, pair)
        if not self.is_password(user.password, now):
            self._failed(address, pair, mark("password change refused"), user.name)
            raise AskError(Fault(tr("the present password is another"), "password"))
        self.set_password(user, new, keep)

    def set_rights(self, user: User, roles: Iterable[str]) -> None:
        """Change what a person may do."""
        self.accounts.set_rights(user, rights_of(roles))

    def _hash(self, password: str) -> str:
        with self._hashing:
            return _hasher().hash(password)

    def is_password(self, hashed: str, password: str) -> bool:
        """Whether a password is the one of this hash."""
        from argon2.exceptions import InvalidHashError, VerificationError

        with self._hashing:
            try:
                return _hasher().verify(hashed, password[: MOST_PASSWORD + 1])
            except (VerificationError, InvalidHashError):
                return False

    # -- browsers ----------------------------------------------------------------------------------

    def sign_in(self, name: str, password: str, address: str) -> str:
        """Sign a person in and give the browser's token.

        Parameters
        ----------
        name, password : str
            As entered.
        address : str
            Of the browser's machine.

        Returns
        -------
        str
            A token of 256 random bits.

        Raises
        ------
        AskError
            Where name and password do not belong together, or after too many tries.
        """
        name = " ".join(name.split())[:MOST_NAME]
        pair = _pair(address, name)
        self._check_tries(address, pair, name)
        user = self.accounts.user(name)
        # for an unknown name a hash is checked too, so that it takes as long
        if not self.is_password(user.password if user else self._unknown_hash(), password) or user is None:
            self._failed(address, pair, mark("sign-in refused"), name)
            raise AskError(Fault(tr("name and password do not belong together")))
        self._by_pair.forget(pair)
        self._came_from[pair] = None
        self._came_from.move_to_end(pair)
        if len(self._came_from) > MOST_CAME_FROM:
            self._came_from.popitem(last=False)
        token = secrets.token_urlsafe(32)
        with acting(user.name, address):
            self.accounts.begin_session(self.mark(token), user, SESSION)
        return token

    def _check_tries(self, address: str, pair: str, name: str = "") -> None:
        wait_s = max(self._by_address.wait_s(_network(address)), self._by_pair.wait_s(pair))
        if name and pair not in self._came_from:
            wait_s = max(wait_s, self._by_name.wait_s(name.casefold()))
        if wait_s > 0:
            raise AskError(Fault(tr("too many tries; wait {wait:.0f} s", wait=wait_s)))

    def _failed(self, address: str, pair: str, action: str, about: str) -> None:
        self._by_address.fail(_network(address))
        self._by_pair.fail(pair)
        if about:
            self._by_name.fail(about.casefold())
        with acting("nobody", address):
            self.accounts.note_event(action, about)

    def _unknown_hash(self) -> str:
        if not self._unknown:
            self._unknown = self._hash(secrets.token_urlsafe(16))
        return self._unknown

    def person(self, token: str) -> Person | None:
        """Whose token this is; None for one that is not known or has ended."""
        session = self.accounts.session(self.mark(token))
        if session is None:
            return None
        if session.user is None:
            return Person(session.screen, frozenset({"see"}), session)
        return Person(session.user.name, frozenset(session.user.rights), session)

    def offer_pairing(self, screen: str) -> str:
        """A one-time code for a screen of this name, good for ten minutes."""
        name = " ".join(screen.split())
        _check_name(name)
        code = "".join(secrets.choice(CODE_SIGNS) for _ in range(CODE_LENGTH))
        self.accounts.offer_pairing(self.mark(code), name, CODE)
        return code

    def pair(self, code: str, address: str) -> str:
        """Pair the browser that brings a code, and give its token.

        Raises
        ------
        AskError
            Where the code is not known, was used or is too old, or after too many tries.
        """
        pair = _pair(address, "\ncode")
        self._check_tries(address, pair)
        token = secrets.token_urlsafe(32)
        plain = "".join(sign for sign in code.upper() if sign.isalnum())[:40]
        with acting("a screen", address):
            if self.accounts.pair(self.mark(plain), self.mark(token), SCREEN):
                return token
        self._failed(address, pair, mark("pairing refused"), "")
        raise AskError(Fault(tr("this code is not known, was used before or is older than ten minutes")))


def _network(address: str) -> str:
    """What one machine can choose its addresses from: of IPv6 the first 64 bits, else the address alone."""
    try:
        known = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(known, ipaddress.IPv4Address):
        return address
    return str(known.ipv4_mapped or ipaddress.ip_network((known, 64), strict=False))


def _pair(address: str, name: str) -> str:
    """A person and where they try from."""
    return f"{_network(address)}\n{name.casefold()}"


#: Whose later writes of this thread are; the board takes it from here, since it does not import the store.
become_person = become


def _write_secret(path: Path) -> None:
    path.touch(mode=0o600)
    path.write_bytes(secrets.token_bytes(32))


def _hasher() -> PasswordHasher:
    """The hasher with the second recommended parameters of RFC 9106: 64 MiB, three passes, four lanes."""
    from argon2 import PasswordHasher
    from argon2.profiles import RFC_9106_LOW_MEMORY

    return PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)


def _check_name(name: str) -> None:
    if not name or len(name) > MOST_NAME or not name.isprintable():
        raise AskError(Fault(tr("this name will not do"), "name", tr("1 to {most} printed characters", most=MOST_NAME)))


#: Signs that stand side by side in the alphabet, in counting or on a keyboard, forwards and backwards.
ROWS = ["abcdefghijklmnopqrstuvwxyz", "01234567890", "qwertyuiop", "qwertzuiop", "azertyuiop", "asdfghjkl", "zxcvbnm"]
ROWS += ["1q2w3e4r5t6y7u8i9o0p", "qazwsxedcrfvtgbyhnujm"]


def _is_run(plain: str) -> bool:
    """Whether a password is a piece written again and again, or mostly signs that stand side by side."""
    if plain in (plain + plain)[1:-1]:
        return True
    rows = [row for line in ROWS for row in (line, line[::-1])]
    beside = [any(plain[i : i + 3] in row for row in rows) for i in range(len(plain) - 2)]
    covered = {i + k for i, yes in enumerate(beside) if yes for k in range(3)}
    return len(covered) > 0.7 * len(plain)


@cache
def _common() -> frozenset[bytes]:
    """Marks of the commonest passwords, and of parts that many hold: see common-passwords in sources.toml."""
    body = (shipped("data") / "common-passwords.bin").read_bytes()
    return frozenset(body[i : i + MARK_BYTES] for i in range(0, len(body), MARK_BYTES))


def _without_common(plain: str, names: Iterable[str]) -> str:
    """A password without what others guess first: names that are known here, and two common passwords at most."""
    for name in names:
        plain = plain.replace(name, "")
    for _ in range(2):
        parts = (plain[i : i + n] for n in range(len(plain), LEAST_COMMON - 1, -1) for i in range(len(plain) - n + 1))
        common = next((part for part in parts if sha256(part.encode()).digest()[:MARK_BYTES] in _common()), None)
        if common is None:
            break
        plain = plain.replace(common, "", 1)
    return plain


def check_password(password: str, name: str, context: Iterable[str] = ()) -> None:
    """Refuse a password that is too short, too long, common, or guessed at once.

    Parameters
    ----------
    password, name : str
        As entered, and whose it is to be.
    context : iterable of str
        What else somebody would try here, such as the shop's name.

    Raises
    ------
    AskError
        With what is wrong.
    """
    if not LEAST_PASSWORD <= len(password) <= MOST_PASSWORD:
        expected = tr("{least} to {most} characters of any kind", least=LEAST_PASSWORD, most=MOST_PASSWORD)
        raise AskError(Fault(tr("the password has {length} characters", length=len(password)), "password", expected))
    plain = password.lower()
    words = {word for text in (name, *context, "password lineview") for word in (text.lower(), *text.lower().split())}
    guessable = sorted((word for word in words if len(word) >= LEAST_NAME), key=len, reverse=True)
    if len(set(plain)) < 6 or _is_run(plain) or len(_without_common(plain, guessable)) < LEAST_OF_ONES_OWN:
        raise AskError(Fault(tr("the password is too easy to guess"), "password", tr("several words of your own")))
