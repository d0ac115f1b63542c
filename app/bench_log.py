"""The log: what the program did and what went wrong, for whoever has to mend it.  Never a code, never a customer.

It is kept by rule, not by trust: only our own loggers are written; a fault is told by its kind and by the lines of the
program that it passed, never by its message, which could quote a name or a code; and the commands log refusals by
their stable codes only.  A job is named by its number; a sealed one is not named at all.
"""

from __future__ import annotations

import logging
import os
import re
import sys
import traceback
from collections.abc import Iterator
from logging.handlers import RotatingFileHandler
from pathlib import Path
from types import TracebackType
from typing import IO

from app.folders import log_folder, made

FILE = "valleygauge.log"
LARGEST_BYTES = 512_000
OLD_FILES = 3
OURS = ("app", "keycore")
_log = logging.getLogger(__name__)


class _Rotating(RotatingFileHandler):
    """Files that only their owner can read."""

    def _open(self) -> IO[str]:  # type: ignore[override]
        def opener(path: str, flags: int) -> int:
            return os.open(path, flags, 0o600)

        return open(self.baseFilename, self.mode, encoding="utf-8", opener=opener)


class _Plain(logging.Formatter):
    """One line a record; a fault as its kind and where it came from."""

    def format(self, record: logging.LogRecord) -> str:
        line = f"{self.formatTime(record)} {record.levelname} {record.name}: {record.getMessage()}"
        if record.exc_info and record.exc_info[0] is not None:
            line += f" [{record.exc_info[0].__name__} {' < '.join(_places(record.exc_info[2]))}]"
        return " ".join(line.split())


def start_log() -> Path | None:
    """Begin to write the log; its file, or None where it cannot be written (the program works without)."""
    stop_log()
    try:
        file = made(log_folder()) / FILE
        handler = _Rotating(file, maxBytes=LARGEST_BYTES, backupCount=OLD_FILES, encoding="utf-8")
    except OSError:
        return None
    handler.setFormatter(_Plain())
    handler.addFilter(lambda record: record.name.split(".")[0] in OURS)
    for name in OURS:
        logger = logging.getLogger(name)
        logger.setLevel(logging.INFO)
        logger.addHandler(handler)
    return file


def stop_log() -> None:
    """Write no more."""
    for name in OURS:
        logger = logging.getLogger(name)
        for handler in [handler for handler in logger.handlers if isinstance(handler, _Rotating)]:
            logger.removeHandler(handler)
            handler.close()


def note(words: str) -> None:
    """A line of the program's own words: a command's name, a version.  Never what a person typed."""
    _log.info("%s", words)


def forget(number: str) -> None:
    """Take the lines that name a job out of all log files."""
    running = any(isinstance(handler, _Rotating) for handler in logging.getLogger(OURS[0]).handlers)
    stop_log()
    named = re.compile(rf"\bjob {re.escape(number)}(?![\w-])")
    for file in _files():
        try:
            lines = file.read_text(encoding="utf-8", errors="replace").splitlines(keepends=True)
            kept = [line for line in lines if not named.search(line)]
            if len(kept) < len(lines):
                descriptor = os.open(file, os.O_WRONLY | os.O_TRUNC, 0o600)
                with os.fdopen(descriptor, "w", encoding="utf-8") as out:
                    out.writelines(kept)
        except OSError:
            continue
    if running:
        start_log()


def log_faults() -> None:
    """Faults that nobody caught go to the log too, besides to the error output."""
    before = sys.excepthook

    def hook(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        if not issubclass(kind, KeyboardInterrupt):
            _log.error("fault", exc_info=(kind, error, trace))
        before(kind, error, trace)

    sys.excepthook = hook


def _files() -> Iterator[Path]:
    folder = log_folder()
    yield from (file for file in (folder / FILE, *folder.glob(f"{FILE}.*")) if file.is_file())


def _places(trace: TracebackType | None) -> list[str]:
    return [f"{Path(frame.filename).name}:{frame.lineno}" for frame in reversed(traceback.extract_tb(trace))]
