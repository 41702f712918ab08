"""Progress: what moved over takes, as a page and on the terminal."""
