"""stylemeter: measure a melody and place it against a style fitted from open melodies."""
