"""Music: the note table (`melody`), meter, scales, keys, chords, and the excerpts a melody is cut into.

In: arrays and plain text such as "D dorian". Out: frozen records. Imports `support`. A change of what a note, a beat, a
key or a chord is goes here.
"""
