"""Settings for all tests."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("trayopt", deadline=None, print_blob=True)
settings.load_profile("trayopt")
