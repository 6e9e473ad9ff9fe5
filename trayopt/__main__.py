"""``python -m trayopt``."""

from __future__ import annotations

from trayopt.cli import main

main()
