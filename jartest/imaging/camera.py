"""A photo from a camera on this machine's cable."""

from __future__ import annotations

from typing import Protocol

import cv2

from jartest.errors import CameraFault

__all__ = ["Camera", "UsbCamera"]

_WIDTH_PX, _HEIGHT_PX = 3840, 2160  # asked for; the camera gives the nearest it has
_SETTLE_FRAMES = 15  # thrown away while exposure and focus settle: half a second at 30 a second (our choice)
_QUALITY = 95  # of the JPEG


class Camera(Protocol):
    """Whatever takes one photo when asked."""

    def shoot(self) -> bytes:
        """The bytes of one photo; CameraFault where there is none."""


class UsbCamera:
    """A camera by its number, opened for each photo and let go again, so that a pulled plug heals."""

    def __init__(self, number: int) -> None:
        self._number = number

    def shoot(self) -> bytes:
        """One photo as JPEG.

        Raises
        ------
        CameraFault
            If no such camera is there, or it gives no picture.
        """
        capture = cv2.VideoCapture(self._number)
        try:
            if not capture.isOpened():
                msg = (
                    f"Camera {self._number} is not there or in use; check its cable, or give another number."
                )
                raise CameraFault(msg)
            capture.set(cv2.CAP_PROP_FRAME_WIDTH, _WIDTH_PX)
            capture.set(cv2.CAP_PROP_FRAME_HEIGHT, _HEIGHT_PX)
            for _ in range(_SETTLE_FRAMES):
                capture.grab()
            whole, picture = capture.read()
        finally:
            capture.release()
        if not whole:
            msg = f"Camera {self._number} gives no picture; unplug it and plug it in again."
            raise CameraFault(msg)
        _, jpeg = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
        return jpeg.tobytes()
