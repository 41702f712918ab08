"""Reading: path or bytes -> melodies."""
