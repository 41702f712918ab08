"""Solo: the findings of one take as a page, on the terminal, as JSON and CSV."""
