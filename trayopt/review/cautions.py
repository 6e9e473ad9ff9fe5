"""Short lines of safety for pages, tables and lists of moves. They state usual practice; local codes come first."""

from __future__ import annotations

REVIEW = (
    "Safety: treat every fibre as live until it is proven dark. Laser light in it is invisible: no eye and no scope on an "
    "open end or connector. Local codes come first; a length measured in place governs."
)
TABLE = "Safety: treat every fibre as live: invisible laser light. Local codes come first; a length measured in place governs."
"""The line of safety of a table, as the header of its last column."""
MOVES = (
    "Safety: no tray is lifted and no splice broken without a written release that names cable, tube and fibre; protection "
    "paths first, and know which circuits carry emergency calls. Treat every fibre as live until it is proven dark: laser "
    "light in it is invisible, so no eye and no scope on an open end. Glass shards: eyewear on, and a closed bin."
)
