"""``python -m app`` is the command ``valleygauge``."""

from __future__ import annotations

from app.commands import main

if __name__ == "__main__":
    main()
