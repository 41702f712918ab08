"""Draft: what a reader found -> `Melody`: exact places, ties, printed bars, repairs, the user's options."""
