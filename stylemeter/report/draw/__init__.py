"""Draw: SVG pictures, notation, and the shell of a page."""
