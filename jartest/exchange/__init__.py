"""What leaves the house and comes back."""
