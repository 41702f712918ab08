"""Placement: a melody and a profile -> where it stands, how surely, at which bars.

In: `Melody`, `Profile`. Out: `Placement`, plain frozen records (`records`). Imports `style` and what lies before it. A
change of a verdict or of its evidence goes here.
"""
