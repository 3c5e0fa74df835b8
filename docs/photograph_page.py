"""Photographs a page with a still life, a rule and a caption by the checks' simulated camera.

    python docs/photograph_page.py examples/still-life-hatched.png page.jpg
"""

import sys
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "outside"))
from page_camera import behind, photograph, to_light  # noqa: E402

picture = to_light(np.asarray(Image.open(sys.argv[1]).convert("L")))
edge = round(0.09 * picture.shape[1])
sheet = np.pad(picture, edge, constant_values=1.0)
h, w = sheet.shape
print_on = np.full(sheet.shape, 255, np.uint8)
cv2.rectangle(print_on, (edge - 24, edge - 24), (w - edge + 24, h - edge + 24), 45, 6)
cv2.putText(print_on, "12. Still life", (w // 2 - 130, h - 30), cv2.FONT_HERSHEY_DUPLEX, 1.3, 45, 2, cv2.LINE_AA)
sheet = np.minimum(sheet, to_light(print_on))
page = behind(sheet, sheet[::-1], 0.08, 4)
data, _ = photograph(page, (w / 10, h / 10), (1500, 2000), np.random.default_rng(4), tilt=(20, -12), turn=4)
Path(sys.argv[2]).write_bytes(data)
