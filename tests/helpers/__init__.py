"""What tests share: melodies, expectations, pages, and where things lie."""
