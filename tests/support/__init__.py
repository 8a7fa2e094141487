"""Helpers that several test files share: rigs, channels, readings, sessions, processes and waits."""
