"""Performed: notes in seconds or played ticks -> notes on a metrical grid."""
