"""What is owed to guests and to the host: a trail that shows tampering, erasure, export, backup."""
