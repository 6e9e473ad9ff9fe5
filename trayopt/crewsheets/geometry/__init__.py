"""Pictures as numbers: boxes, paths, texts and dots at their places, in pixels. Nothing here knows SVG."""
