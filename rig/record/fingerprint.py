"""The fingerprint of a record: ties a printed sheet to its data, and shows when files were changed.

It shows a change by mistake. Whoever changes files on purpose can make a new fingerprint too; the one on a
signed sheet of paper is out of reach.
"""

import hashlib
from pathlib import Path

FILES = ("profile.yaml", "stand.yaml", "run.json", "samples.csv", "events.csv")
FINGERPRINT_FILE = "fingerprint.txt"


def fingerprint(folder: Path) -> str:
    """First 12 hexadecimal digits of SHA-256 over the record's files in order, names included.

    Raises OSError.
    """
    digest = hashlib.sha256()
    for name in FILES:
        data = (folder / name).read_bytes()
        digest.update(f"{name} {len(data)}\n".encode())
        digest.update(data)
    return digest.hexdigest()[:12]


def kept_fingerprint(folder: Path) -> str | None:
    """The one written when the record was closed; None where there is none."""
    try:
        return (folder / FINGERPRINT_FILE).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return None
