"""Do we know it? Numbers in, an outcome with its probability and reason out."""
