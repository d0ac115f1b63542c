"""Where the program keeps things: the same folders with and without a window.

``VALLEYGAUGE_HOME`` puts all of them under one folder, for tests and for a bench that keeps its jobs on a shared disk.
"""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

NAME = "valleygauge"
HOME_VARIABLE = "VALLEYGAUGE_HOME"


def data_folder() -> Path:
    """Jobs, own tables and whatever a backup should take."""
    return _under_home("data") or Path(platformdirs.user_data_dir(NAME, appauthor=False))


def jobs_folder() -> Path:
    """One folder for each job."""
    return data_folder() / "jobs"


def settings_folder() -> Path:
    """Settings of the program."""
    return _under_home("settings") or Path(platformdirs.user_config_dir(NAME, appauthor=False))


def log_folder() -> Path:
    """The log.  It never holds a code or a customer."""
    return _under_home("log") or Path(platformdirs.user_log_dir(NAME, appauthor=False))


def made(folder: Path) -> Path:
    """The folder, made where it was missing, for its owner only."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def _under_home(part: str) -> Path | None:
    home = os.environ.get(HOME_VARIABLE)
    return Path(home) / part if home else None
