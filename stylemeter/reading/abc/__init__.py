"""ABC: text -> tunes (`read`)."""
