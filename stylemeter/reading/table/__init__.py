"""Note tables: CSV and JSON -> melodies (`read`)."""
