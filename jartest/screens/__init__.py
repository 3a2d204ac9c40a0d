"""What the person sees: one file a screen, each `render(recorder) -> None`."""
