"""Trust: held-out checks, habits put into clean tunes, what a style can show, what uncertain notes change."""
