"""Reading the files that a project names."""

from __future__ import annotations

import stat
from pathlib import Path

from roofmodel.errors import InputError


def read_file(path: Path, label: str, what: str, largest: int) -> bytes:
    """Bytes of a regular file.

    Parameters
    ----------
    path : Path
    label : str
        How messages begin.
    what : str
        What the file should be, for messages.
    largest : int
        [bytes]

    Raises
    ------
    InputError
        No such file, a folder or device, not readable, or too large.
    """
    try:
        kind = path.stat().st_mode
        if stat.S_ISDIR(kind):
            message = f"{label}: is a folder; give {what}"
            raise InputError(message)
        if not stat.S_ISREG(kind):
            # Reading a device or a pipe may never end.
            message = f"{label}: is not a regular file; give {what}"
            raise InputError(message)
        size = path.stat().st_size
        if size > largest:
            message = f"{label}: {size / 1e6:.0f} MB is too large for {what} (at most {largest / 1e6:.0f} MB)"
            raise InputError(message)
        return path.read_bytes()
    except FileNotFoundError:
        message = f"{label}: there is no such file; give {what}"
        raise InputError(message) from None
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        reason = error.strerror if isinstance(error, OSError) else error
        message = f"{label}: cannot be read ({reason}); give {what}"
        raise InputError(message) from None
