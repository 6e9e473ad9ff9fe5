"""Tests of pictures of hardware."""
