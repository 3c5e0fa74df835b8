"""A sheet of paper before a simulated camera: what check_page.py photographs. Own code over NumPy and OpenCV."""

import io

import cv2
import numpy as np
from PIL import Image

# Camera: 26 mm lens on film of 24 x 36 mm, the usual main camera of a telephone (common practice, no source).
FOCAL_SHARE = 26 / 43.27
# Linear reflectance of yellowed paper, red, green, blue, and of the dark table under it.
YELLOW = np.array([0.86, 0.78, 0.55], np.float32)
TABLE = np.array([0.10, 0.075, 0.055], np.float32)
WEIGHTS = np.array([0.2126, 0.7152, 0.0722], np.float32)  # IEC 61966-2-1


def to_light(code):
    v = code.astype(np.float32) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def to_code(light):
    y = np.clip(light, 0, 1)
    v = np.where(y <= 0.0031308, 12.92 * y, 1.055 * y ** (1 / 2.4) - 0.055)
    return (v * 255 + 0.5).astype(np.uint8)


def lightness(y):
    y = np.asarray(y, np.float64)
    return np.where(y > 216 / 24389, 116 * np.cbrt(np.maximum(y, 1e-9)) - 16, 24389 / 27 * y)


def corners_in_photo(sheet_mm, size, tilt, turn, fill):
    """Where the sheet's corners lie in the photograph, clockwise from the top left; `fill`: how much of it they span."""
    a, b, c = np.radians([tilt[0], tilt[1], turn])
    turned = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    tip = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    swing = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    w, h = sheet_mm
    flat = np.array([[-w, -h, 0], [w, -h, 0], [w, h, 0], [-w, h, 0]]) / 2
    world = flat @ turned.T @ tip.T @ swing.T
    focal = FOCAL_SHARE * np.hypot(*size)
    low, high = 0.5 * max(sheet_mm), 50 * max(sheet_mm)
    for _ in range(60):  # the distance at which the sheet fills the picture as asked
        away = (low * high) ** 0.5
        at = world[:, :2] / (world[:, 2:] + away) * focal
        over = np.max(np.ptp(at, axis=0) / (np.array(size) * fill))
        low, high = (away, high) if over > 1 else (low, away)
    at -= (at.min(0) + at.max(0)) / 2
    return at + np.array(size) / 2


def behind(ink, other, strength, blur_px):
    """Reflectance of a sheet with the back's reflectance showing through, mirrored and blurred in the paper."""
    back = cv2.GaussianBlur(cv2.resize(other[:, ::-1], ink.shape[::-1], interpolation=cv2.INTER_AREA), (0, 0), blur_px)
    return ink * (1 - strength * (1 - back))


def light_on(shape, fall_off, shadow):
    """Light over the photograph: 1 at the brightest, `1 - fall_off` in the darkest corner, and a hand's soft shadow."""
    h, w = shape
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    x, y = (x + 0.5) / w, (y + 0.5) / h
    far = np.hypot(x - 0.15, y - 0.1) / np.hypot(0.85, 0.9)
    light = 1 - fall_off * far**1.6
    if shadow > 0:
        # An arm from the lower right: a band with a round end; its edge is a sixth of the picture wide.
        along = np.clip(((x - 0.6) * 0.45 + (y - 0.58) * 0.55) / (0.45**2 + 0.55**2), 0, 1)
        away = np.hypot(x - 0.6 - along * 0.45, y - 0.58 - along * 0.55)
        light *= 1 - shadow * (0.5 - 0.5 * np.tanh((away - 0.13) / 0.06))
    return light.astype(np.float32)


def photograph(sheet, sheet_mm, size, rng, tilt=(25, 0), turn=3, fill=0.9, fall_off=0.4, shadow=0.3, paper=YELLOW,
               quality=70, noise=0.004, blur_px=0.7):
    """JPEG bytes of a sheet (linear reflectance) on a table, and the sheet's corners in it."""
    corners = corners_in_photo(sheet_mm, size, tilt, turn, fill)
    h, w = sheet.shape
    own = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float64)
    # OpenCV counts pixels from their middles.
    way = cv2.getPerspectiveTransform((own - 0.5).astype(np.float32), (corners - 0.5).astype(np.float32))
    times = 2  # supersampled against aliasing, as a lens and a sensor's pixels average
    up = np.array([[times, 0, (times - 1) / 2], [0, times, (times - 1) / 2], [0, 0, 1]])
    big = (size[0] * times, size[1] * times)
    ink = cv2.warpPerspective(sheet.astype(np.float32), up @ way, big, flags=cv2.INTER_LINEAR, borderValue=-1)
    on = (ink >= 0).astype(np.float32)
    ink = cv2.resize(np.maximum(ink, 0) * on, size, interpolation=cv2.INTER_AREA)
    on = cv2.resize(on, size, interpolation=cv2.INTER_AREA)
    grain = cv2.GaussianBlur(rng.standard_normal((size[1], size[0])).astype(np.float32), (0, 0), 3)
    table = TABLE * (1 + 0.25 * grain / grain.std())[..., None]
    colour = ink[..., None] * paper + (1 - on)[..., None] * table
    colour *= light_on(colour.shape[:2], fall_off, shadow)[..., None]
    colour = cv2.GaussianBlur(colour, (0, 0), blur_px)
    colour += noise * rng.standard_normal(colour.shape).astype(np.float32) * np.sqrt(np.maximum(colour, 0.02))
    out = io.BytesIO()
    Image.fromarray(to_code(colour)).save(out, "JPEG", quality=quality)
    return out.getvalue(), corners
