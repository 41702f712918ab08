"""Chords: symbols as musicians write them, labels as data sets do, and the kinds both mean."""
