"""Humdrum kern: spines -> melodies (`read`)."""
