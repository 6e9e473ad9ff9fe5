"""Tests of trayopt; they mirror the package."""
