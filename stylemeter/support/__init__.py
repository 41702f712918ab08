"""Support: files written whole, places, worker processes, texts, safe printing and decoding; knows nothing of music.

In: bytes, paths, calls. Out: the same, kept or shown safely. Imports `errors` only. A change in how anything is
written, found, decoded or shown goes here.
"""
