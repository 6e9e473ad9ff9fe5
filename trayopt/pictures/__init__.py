"""Pictures as numbers and as SVG: shapes, labels that keep off each other, and the box as hardware alone makes it."""
