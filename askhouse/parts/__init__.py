"""What is being said: a message becomes parts, in the guest's order."""
