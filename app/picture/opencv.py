"""The one door to OpenCV.

opencv-python brings a Qt of its own and, on import, points Qt's plug-in search at it.  Whoever starts a window later
in the same process would then be sent to the wrong plug-ins, so the two variables are taken out again here.
"""

from __future__ import annotations

import os

import cv2

for _name in ("QT_QPA_PLATFORM_PLUGIN_PATH", "QT_QPA_FONTDIR"):
    if "cv2" in os.environ.get(_name, ""):
        del os.environ[_name]

__all__ = ["cv2"]
