"""Measuring how well pictures are read."""
