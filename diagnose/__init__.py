"""rowfault: why rows failed their hydraulic downforce checks, and what to do next."""

from __future__ import annotations

__version__ = "0.1.0"
