"""The version of trayopt: a file of its own, so that no room imports the package for it, which imports the rooms."""

__version__ = "0.1.0"
