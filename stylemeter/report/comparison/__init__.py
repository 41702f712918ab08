"""Comparison: two samples side by side, as document, terminal text and page."""
