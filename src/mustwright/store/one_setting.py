"""What does one setting of a cellar file say, where nothing else of the cellar is needed?"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

WAIT_S = 1.0


def setting_in(path: Path, name: str) -> str | None:
    """A setting, read alone: no engine is started and nothing is made or migrated.

    Parameters
    ----------
    path : Path
        The SQLite file of a cellar.

    Returns
    -------
    str or None
        None too where the file is away, damaged, or older than its settings: whoever opens the
        cellar next is told.
    """
    try:
        file = sqlite3.connect(f"{path.as_uri()}?mode=ro", timeout=WAIT_S, uri=True)
        with closing(file):
            found = file.execute("SELECT value FROM setting WHERE name = ?", (name,)).fetchone()
    except sqlite3.Error:
        return None
    return None if found is None else str(found[0])
