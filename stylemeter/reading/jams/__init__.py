"""JAMS: annotations -> melodies (`read`)."""
