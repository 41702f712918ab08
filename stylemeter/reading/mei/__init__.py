"""MEI: XML -> melodies (`read`)."""
