"""Who is staying where, and who is writing: stays, their numbers, feeds and release windows."""
