"""Curves for the pages, drawn by the one figure function."""
