"""Text tablature: lines of frets -> melodies (`read`)."""
