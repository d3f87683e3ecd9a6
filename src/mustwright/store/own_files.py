"""Who on this machine may read the cellar: its owner alone, whatever the umask says."""

from __future__ import annotations

import os
import stat
from contextlib import suppress
from pathlib import Path

from mustwright.texts import say

FOLDER, FILE = 0o700, 0o600


def own_folder(path: Path) -> None:
    """Make a folder that its owner alone may enter; one that is there is left as it is."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with suppress(FileExistsError):
        path.mkdir(mode=FOLDER)


def own_file(path: Path) -> None:
    """Make an empty file that its owner alone may read; one that is there is left as it is.

    What SQLite puts beside it later gets the same permissions.
    """
    with suppress(FileExistsError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE))


def put_right(home: Path) -> list[str]:
    """Take away what others may do with a data folder and the files of the cellar in it.

    Returns
    -------
    list of str
        A sentence for each thing that was put right, or could not be.
    """
    if os.name != "posix" or not home.is_dir():
        return []
    said: list[str] = []
    for path in (home, *sorted(home.glob("cellar*")), home / "backups", home / "seal.key",
                 *sorted((home / "backups").glob("*"))):  # fmt: skip
        try:
            mode = stat.S_IMODE(path.lstat().st_mode)
            if path.is_symlink() or not mode & 0o077:
                continue
            os.chmod(path, mode & 0o700)
            said.append(
                say(
                    "{path} was open to other users of this machine; now it is yours alone.",
                    path=path,
                )
            )
        except FileNotFoundError:
            continue
        except OSError as error:
            said.append(
                say(
                    "{path} is open to other users of this machine: {strerror}.",
                    path=path,
                    strerror=error.strerror,
                )
            )
    return said
