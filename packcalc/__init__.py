"""packcalc: layouts and protection candidates from salvaged battery modules, for review."""

from __future__ import annotations

__version__ = "0.1.0"
