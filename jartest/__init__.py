"""Image-assisted recorder for physical compatibility jar tests of spray mixtures."""

import os

# OpenCV reads this once, when it is first imported; it refuses larger pictures by itself (a bomb of
# 400 megapixels takes 2.3 GB otherwise).  Our own gate in imaging.photo comes first.
os.environ.setdefault("OPENCV_IO_MAX_IMAGE_PIXELS", "60000000")

__all__ = ["__version__"]
__version__ = "0.1.0"
