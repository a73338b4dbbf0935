"""Which facts may answer a part: vectors and words together, within one house."""
