"""What a phone does to a picture after the lens: cast, tone, shake, grain, sharpening, compression."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["phone"]


def phone(
    picture: NDArray[np.uint8],
    rng: np.random.Generator,
    *,
    cast: tuple[float, ...] = (1.0, 1.0, 1.0),
    gamma: float = 1.0,
    contrast: float = 0.0,
    vignette: float = 0.0,
    shake: float = 0.0,
    blur: float = 0.0,
    grain: float = 0.0,
    sharpen: float = 0.0,
    quality: int = 0,
) -> NDArray[np.uint8]:
    """The picture (RGB) after all of it; `shake` and `blur` are shares of the picture's height."""
    x: Any = picture.astype(np.float32) / 255
    h, w = x.shape[:2]
    x = np.clip(x * np.asarray(cast, np.float32), 0, 1) ** gamma
    x = x + contrast * np.sin(2 * np.pi * x) * -0.1
    if vignette:
        yy, xx = np.mgrid[-1 : 1 : h * 1j, -1 : 1 : w * 1j]
        x = x * (1 - vignette * 0.5 * (xx**2 + yy**2))[..., None].astype(np.float32)
    if blur:
        x = cv2.GaussianBlur(x, (0, 0), max(blur * h, 0.3))
    if shake:
        n = max(3, int(shake * h) | 1)
        k = np.zeros((n, n), np.float32)
        a = rng.uniform(0, np.pi)
        d = np.array([np.cos(a), np.sin(a)]) * (n // 2)
        mid = np.array([n // 2, n // 2])
        cv2.line(k, tuple(np.round(mid - d).astype(int).tolist()), tuple(np.round(mid + d).astype(int).tolist()), 1.0, 1, cv2.LINE_AA)  # fmt: skip
        x = cv2.filter2D(x, -1, k / k.sum(), borderType=cv2.BORDER_REFLECT)
    if grain:
        luma = rng.normal(0, grain, (h, w, 1)) + rng.normal(0, grain * 0.5, (h, w, 3))
        x = x + cv2.GaussianBlur(luma.astype(np.float32), (0, 0), 0.7) * 1.5
    if sharpen:
        wide = h / 384 * 1.2
        x = x + sharpen * (x - cv2.GaussianBlur(x, (0, 0), wide))
    out = (np.clip(x, 0, 1) * 255 + 0.5).astype(np.uint8)
    if quality:
        coded = cv2.imencode(".jpg", out[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        read = cv2.imdecode(coded, cv2.IMREAD_COLOR)
        assert read is not None
        out = np.ascontiguousarray(read[..., ::-1])
    return out
