"""What holds for every test: nothing fails because the machine is busy."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("steady", deadline=None)
settings.load_profile("steady")
