"""Marks for tests that one kind of system cannot run; CI accepts these skips, for their reason says so."""

import sys

import pytest

linux = pytest.mark.skipif(sys.platform != "linux", reason="other system: Linux's own files")
pseudo_terminals = pytest.mark.skipif(
    sys.platform == "win32", reason="other system: no pseudo-terminals"
)
