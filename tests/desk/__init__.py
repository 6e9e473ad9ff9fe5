"""Tests of the desk: what it decides, what it keeps, who may speak to it, and its page in a real browser."""
