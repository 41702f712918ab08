"""Process: many files, each read within bounds of time and memory."""
