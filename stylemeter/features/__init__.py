"""Features."""
