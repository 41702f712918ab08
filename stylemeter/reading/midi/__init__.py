"""MIDI: bytes -> melodies (`read`)."""
