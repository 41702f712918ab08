"""Vocabulary: what a player leans on, as document, terminal text and page."""
