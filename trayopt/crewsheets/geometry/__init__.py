"""Pictures of a plan as numbers: boxes, paths, texts and dots at their places in px. Nothing here knows SVG."""
