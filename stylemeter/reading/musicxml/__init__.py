"""MusicXML: plain or packed -> melodies (`read`)."""
