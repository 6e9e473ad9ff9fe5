"""Certificates: rows that every plan meets, proofs over them, and what becomes of forged ones."""
