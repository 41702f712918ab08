"""Takes: many placements -> a class's rows, a player's progress.

In: `Findings`. Out: rows and records of what moved. Imports `practice` and what lies before it.
"""
