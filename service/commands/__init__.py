"""What the shell can ask of the memory, a module each."""
