"""Photo to reading: the only floor that knows OpenCV and scikit-image."""
