"""One controller on one stand: a lock on what the outputs are reached by, let go by the system when we die.

It sees the programs of this computer that share its folder for temporary files. A controller on another
computer is seen only by read-backs that nobody here wrote.
"""

import ipaddress
import os
import re
import socket
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from rig.stand.model import RtuLink, Stand
from rig.stand.outputs import declared_outputs

if sys.platform == "win32":
    import msvcrt

    FAR = 1 << 20  # the locked byte, beyond what is written: a locked one cannot be read by others

    def _try_lock(file: int) -> None:
        os.lseek(file, FAR, os.SEEK_SET)
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _try_lock(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


HANDS_IN = "HANDS IN THE MECHANISM"


class StandInUse(Exception):  # noqa: N818 - says what is so
    """Another program has the stand, or that cannot be found out; `str()` of it is for a person."""

    def __init__(self, words: str, process: int | None = None, hands_in: bool = False) -> None:
        super().__init__(words)
        self.process = process  # of the holder, where it said so
        self.hands_in = hands_in  # it holds the stem still, for hands are in the mechanism


class Holding:
    """What the holder of a lock says of itself, for whoever finds the stand in use."""

    def __init__(self) -> None:
        self.files: list[int] = []

    def say(self, hands_in: bool) -> None:
        words = f"process {os.getpid()}, since {datetime.now():%Y-%m-%d %H:%M:%S}"
        words += f"; {HANDS_IN}" if hands_in else ""
        for file in self.files:
            with suppress(OSError):  # a courtesy; the lock is what counts
                os.ftruncate(file, 0)
                os.lseek(file, 0, os.SEEK_SET)
                os.write(file, words.encode())


def what_is_locked(stand: Stand) -> list[str]:
    """A serial line as a whole; on a network each unit that has outputs, at all its addresses. Sorted."""
    found = set()
    for name in {module for module, _, _ in declared_outputs(stand)}:
        module = stand.modules[name]
        link = stand.links[module.link]
        if isinstance(link, RtuLink):
            found.add(f"serial {os.path.realpath(link.device)}")
        else:
            found |= {f"tcp {at} {link.port} unit {module.unit}" for at in _addresses(link.host, link.port)}
    return sorted(found)


def _addresses(host: str, port: int) -> set[str]:
    """Every address of a host, so that its name and each of them meet; the name where it has none now.

    An address is not asked for on the network; a name is where the system must, as to connect would.
    """
    try:
        found = {str(entry[4][0]) for entry in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)}
        return {_one_spelling(address) for address in found}
    except (OSError, UnicodeError, ValueError):
        return {host.lower()}


def _one_spelling(address: str) -> str:
    """Raises ValueError where it is none."""
    given = ipaddress.ip_address(address.partition("%")[0])  # without the network card it is reached by
    return (getattr(given, "ipv4_mapped", None) or given).exploded


@contextmanager
def only_controller(
    stand: Stand, folder: Path | None = None, holding: Holding | None = None
) -> Iterator[str]:
    """Hold the stand. Raises StandInUse at once where another program holds any part of it.

    Yields who held it last and died with it, in their own words; empty after an orderly end.

    `folder`: where the lock files are; the system's folder for temporary files unless given. `holding`: by
    which the holder says more of itself later.
    """
    holding = holding or Holding()
    held: list[tuple[Path, int]] = []
    left: dict[str, None] = {}
    try:
        for key in what_is_locked(stand):
            path = (folder or Path(tempfile.gettempdir())) / f"stemrig-{_file_name(key)}.lock"
            file, before = _hold(path, stand.name)
            held.append((path, file))
            holding.files.append(file)
            if before:
                left[before] = None
        holding.say(hands_in=False)
        yield "; ".join(left)
    finally:
        holding.files.clear()
        for path, file in reversed(held):
            _let_go(path, file)


def _hold(path: Path, name: str) -> tuple[int, str]:
    """The locked file, and what was in it. Raises StandInUse."""
    while True:
        try:
            file = _open(path)
        except OSError as error:
            raise StandInUse(
                f"whether another program runs stand '{name}' cannot be found out: {path}: {error.strerror}"
            ) from None
        try:
            _try_lock(file)
        except OSError:
            said = _said(file)
            os.close(file)
            raise StandInUse(_in_use(name, said), _process(said), HANDS_IN in said) from None
        if _is_at(path, file):
            break
        os.close(file)  # its holder took it away between our two steps
    return file, _said(file)


def _in_use(name: str, said: str) -> str:
    words = f"stand '{name}' is in use by another program on this computer"
    words += f" ({said}). " if said else ". "
    if HANDS_IN in said:
        return words + (
            "It holds the stem still: do NOT end it. When everybody's hands are out and clear, say so there, "
            "or by `stemrig vent` on this stand"
        )
    return words + "Two must never write to one stand: end that one, or wait for it"


def _open(path: Path) -> int:
    no_follow: int = getattr(os, "O_NOFOLLOW", 0)
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT | no_follow, 0o666)
    except PermissionError:  # left by another user: it can be locked all the same
        return os.open(path, os.O_RDONLY | no_follow)


def _let_go(path: Path, file: int) -> None:
    """Take the file away while it is still locked, so that nobody locks one that is gone; then close it."""
    with suppress(OSError):
        os.ftruncate(file, 0)
    if sys.platform != "win32":  # there an open file cannot be taken away, and an empty one does no harm
        with suppress(OSError):
            path.unlink()
    os.close(file)


def _is_at(path: Path, file: int) -> bool:
    try:
        return os.path.samestat(os.fstat(file), os.stat(path))
    except OSError:
        return False


def _said(file: int) -> str:
    """What the holder wrote of itself."""
    with suppress(OSError):
        os.lseek(file, 0, os.SEEK_SET)
        return os.read(file, 200).decode(errors="replace").strip()
    return ""


def _process(said: str) -> int | None:
    found = re.search(r"process (\d+)", said)
    return int(found[1]) if found else None


def _file_name(key: str) -> str:
    return re.sub(r"[^A-Za-z0-9.]+", "-", key).strip("-.")
