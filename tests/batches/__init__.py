"""Batches."""
