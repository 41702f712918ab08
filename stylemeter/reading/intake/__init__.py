"""Intake: what every file passes first: size, kind by content, limits, options."""
