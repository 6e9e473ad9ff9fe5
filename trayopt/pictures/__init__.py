"""F1: pictures as numbers and as SVG: shapes, labels that do not overlap, and the box as its hardware alone makes it."""
