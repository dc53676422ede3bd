"""The command line: each command parses, calls the library and prints; a known error becomes one clear line."""

from __future__ import annotations

from lineup.cli.main import main

__all__ = ["main"]
