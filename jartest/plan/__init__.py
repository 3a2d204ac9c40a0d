"""What goes into the jar, and when to look."""
