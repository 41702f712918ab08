"""Style: collections of tunes -> families -> sample -> profile.

In: melodies and `corpus/*.toml`. Out: a profile folder, and rungs to rank against. Imports `reading` and what lies
before it. A change of how a norm is made, kept or ranked against goes here.
"""
