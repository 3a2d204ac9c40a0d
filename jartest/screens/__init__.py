"""What the person sees: one file a screen."""
