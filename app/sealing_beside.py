"""A passphrase's slow second in a process of its own.

The age library keeps the whole interpreter to itself while it stretches a passphrase, so on a thread of the window it
would stop the window all the same.  Content and passphrase go through pipes, never through a file or a command line.
This file is run as a program by itself, too, and then imports nothing else of this one.
"""

from __future__ import annotations

import struct
import subprocess
import sys
from typing import Final, Literal

Does = Literal["encrypt", "decrypt"]
_HEAD: Final = struct.Struct("<BQ")
DONE, REFUSED = 0, 3
"""Exit codes: done, and: the passphrase is another one, or the file is damaged."""


class NotOpened(Exception):
    """The passphrase is another one, or what was to be opened is damaged."""


def beside(does: Does, content: bytes, passphrase: str) -> bytes | None:
    """Do it in another process; None where there can be none, and it has to be done here.

    Raises
    ------
    NotOpened
        As the library says.
    """
    words = passphrase.encode()
    told = _HEAD.pack(does == "encrypt", len(words)) + words + content
    quiet: int = getattr(subprocess, "CREATE_NO_WINDOW", 0)
    try:
        ran = subprocess.run(
            [sys.executable, "-P", __file__], input=told, capture_output=True, check=False, creationflags=quiet
        )
    except OSError:
        return None
    if ran.returncode == REFUSED:
        raise NotOpened
    return ran.stdout if ran.returncode == DONE and ran.stdout else None


def main() -> int:
    """The other process."""
    import pyrage

    told = sys.stdin.buffer.read()
    encrypts, length = _HEAD.unpack_from(told)
    passphrase = told[_HEAD.size : _HEAD.size + length].decode()
    content = told[_HEAD.size + length :]
    try:
        does = pyrage.passphrase.encrypt if encrypts else pyrage.passphrase.decrypt
        sys.stdout.buffer.write(does(content, passphrase))
    except pyrage.DecryptError:
        return REFUSED
    return DONE


if __name__ == "__main__":
    sys.exit(main())
