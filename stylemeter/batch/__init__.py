"""Batch: a folder of solos -> a page each and an overview, resumed where it stopped.

In: paths and settings. Out: a folder with its ledger. Imports `report` and what lies before it.
"""
