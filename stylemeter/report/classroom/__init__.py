"""Classroom: a class's rows as an overview."""
