"""What is said: cited facts and fixed words, and nothing else."""
