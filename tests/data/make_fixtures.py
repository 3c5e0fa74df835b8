"""Makes the small pictures beside this file and expected.json, the figures other libraries give for them.

Needs pillow (with littlecms), numpy, opencv-python and tifffile. Run: python tests/data/make_fixtures.py
Linear luminance is worked out here with numpy from what Pillow decodes, by IEC 61966-2-1 and BT.709
weights; figures through a profile come from littlecms (ImageCms, relative colorimetric).
"""

import hashlib
import io
import json
import struct
from pathlib import Path

import cv2
import numpy as np
import PIL
import tifffile
from PIL import Image, ImageCms, ImageOps, PngImagePlugin

HERE = Path(__file__).parent
expected = {}


def linear(v):
    v = np.asarray(v, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def luminance(rgb):
    return linear(rgb) @ np.array([0.2126, 0.7152, 0.0722])


def record(name, y, tolerance=1e-5, ppi=None, bits=8, profile=None):
    """y: linear luminance, rows x columns; tolerance: in linear luminance."""
    y = np.asarray(y, dtype=np.float64)
    expected[name] = {
        "width": y.shape[1], "height": y.shape[0], "ppi": ppi, "bits": bits, "profile": profile,
        "tolerance": tolerance, "luminance": [round(float(v), 7) for v in y.ravel()],
    }


def decoded(image):
    """Luminance of a picture as Pillow decodes it, over white in linear light."""
    rgba = np.asarray(image.convert("RGBA"), dtype=np.float64) / 255
    a = rgba[..., 3]
    return a * luminance(rgba[..., :3]) + (1 - a)


def base(width=12, height=8):
    """Four unlike quarters with a gentle ramp, so that no turn or mirror looks like another."""
    a = np.zeros((height, width, 3), dtype=np.uint8)
    h, w = height // 2, width // 2
    a[:h, :w], a[:h, w:], a[h:, :w], a[h:, w:] = (200, 60, 40), (40, 160, 70), (30, 50, 180), (230, 225, 210)
    ramp = (np.arange(width)[None, :, None] * 24 // width).astype(np.uint8)
    return a + ramp * np.array([1, 1, 1], dtype=np.uint8)


# ---- profiles, written by hand after ICC.1:2001-04 -------------------------------------------------

def s15(v):
    return struct.pack(">i", int(round(v * 65536)))


def icc(space, device, pcs, tags):
    body, table = b"", b""
    offset = 128 + 4 + 12 * len(tags)
    for sig, data in tags:
        data += b"\0" * (-len(data) % 4)
        table += sig + struct.pack(">II", offset + len(body), len(data))
        body += data
    size = offset + len(body)
    header = struct.pack(">I", size) + b"\0\0\0\0" + b"\x02\x40\0\0" + device + space + pcs
    header += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28
    header += s15(0.9642) + s15(1.0) + s15(0.8249)
    header += b"\0" * (128 - len(header))
    return header + struct.pack(">I", len(tags)) + table + body


def desc(text):
    t = text.encode() + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(t)) + t + b"\0" * 78


def xyz(v):
    return b"XYZ \0\0\0\0" + b"".join(s15(x) for x in v)


def gamma_curve(g):
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, int(round(g * 256)))


TEXT = b"text\0\0\0\0No copyright\0"
WHITE = xyz((0.9642, 1.0, 0.8249))


def to_d50(primaries, white):
    """Columns of primaries as XYZ, adapted to D50 by Bradford."""
    def col(x, y):
        return np.array([x / y, 1.0, (1 - x - y) / y])
    m = np.stack([col(*p) for p in primaries], axis=1)
    w = col(*white)
    m = m * np.linalg.solve(m, w)
    b = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    d50 = np.array([0.9642, 1.0, 0.8249])
    return np.linalg.inv(b) @ np.diag((b @ d50) / (b @ w)) @ b @ m, m


# DCI-P3 primaries with D65 white and gamma 2.2: wide colours and a curve that is not sRGB's.
WIDE, WIDE_D65 = to_d50([(0.680, 0.320), (0.265, 0.690), (0.150, 0.060)], (0.3127, 0.3290))
WIDE_ICC = icc(b"RGB ", b"mntr", b"XYZ ", [
    (b"desc", desc("Wide test RGB")), (b"cprt", TEXT), (b"wtpt", WHITE),
    (b"rXYZ", xyz(WIDE[:, 0])), (b"gXYZ", xyz(WIDE[:, 1])), (b"bXYZ", xyz(WIDE[:, 2])),
    (b"rTRC", gamma_curve(2.2)), (b"gTRC", gamma_curve(2.2)), (b"bTRC", gamma_curve(2.2))])
GREY_ICC = icc(b"GRAY", b"mntr", b"XYZ ", [
    (b"desc", desc("Grey test 1.8")), (b"cprt", TEXT), (b"wtpt", WHITE), (b"kTRC", gamma_curve(1.8))])


def ink_profile():
    """CMYK to Lab: a table of 7^4 from overprints of invented inks (Neugebauer mix with dot gain)."""
    n = 7
    paper = np.array([0.9642, 1.0, 0.8249])
    ink = np.array([[0.20, 0.28, 0.75], [0.38, 0.20, 0.25], [0.80, 0.85, 0.12], [0.03, 0.03, 0.03]])
    table = b""
    for i in range(n**4):
        c = np.array([i // n**3 % n, i // n**2 % n, i // n % n, i % n]) / (n - 1)
        c = c + 0.6 * c * (1 - c)
        xyz_ = paper * np.prod(1 - c[:, None] * (1 - ink), axis=0)
        r = xyz_ / paper
        f = np.where(r > 216 / 24389, np.cbrt(r), (24389 / 27 * r + 16) / 116)
        lab = (116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2]))
        code = (lab[0] * 652.8, (lab[1] + 128) * 256, (lab[2] + 128) * 256)
        table += struct.pack(">3H", *(int(np.clip(round(v), 0, 65535)) for v in code))
    identity = b"".join(s15(v) for v in np.eye(3).ravel())
    two = struct.pack(">2H", 0, 65535)
    lut = b"mft2\0\0\0\0" + bytes([4, 3, n, 0]) + identity + struct.pack(">2H", 2, 2) + two * 4 + table + two * 3
    return icc(b"CMYK", b"prtr", b"Lab ", [(b"desc", desc("Ink test CMYK")), (b"cprt", TEXT), (b"wtpt", WHITE),
                                           (b"A2B0", lut), (b"A2B1", lut)])


INK_ICC = ink_profile()


def through_littlecms(image, profile):
    """Linear luminance of what littlecms makes of it in 8-bit sRGB, relative colorimetric."""
    out = ImageCms.profileToProfile(image, ImageCms.ImageCmsProfile(io.BytesIO(profile)),
                                    ImageCms.createProfile("sRGB"), renderingIntent=1, outputMode="RGB")
    return luminance(np.asarray(out, dtype=np.float64) / 255)


def profiles():
    colours = np.array([[[v, v, v] for v in (0, 30, 64, 100, 128, 180, 220, 255)],
                        [(90, 120, 80), (140, 100, 120), (60, 70, 110), (200, 180, 150),
                         (128, 150, 170), (180, 140, 130), (50, 60, 40), (220, 230, 200)]], dtype=np.uint8)
    im = Image.fromarray(colours)
    im.save(HERE / "wide.png", icc_profile=WIDE_ICC)
    # littlecms rounds to one code of 255 either way, which is up to 0.009 of light at the bright end.
    record("wide.png", through_littlecms(im, WIDE_ICC), 0.005, profile="Wide test RGB")
    im.save(HERE / "wide.tif", icc_profile=WIDE_ICC)
    record("wide.tif", through_littlecms(im, WIDE_ICC), 0.005, profile="Wide test RGB")
    big = Image.fromarray(np.kron(colours, np.ones((8, 8, 1), dtype=np.uint8)))
    big.save(HERE / "wide.webp", icc_profile=WIDE_ICC, lossless=True)
    record("wide.webp", through_littlecms(big, WIDE_ICC), 0.005, profile="Wide test RGB")
    big.save(HERE / "wide.jpg", icc_profile=WIDE_ICC, quality=95, subsampling=0)
    record("wide.jpg", through_littlecms(Image.open(HERE / "wide.jpg"), WIDE_ICC), 0.006, profile="Wide test RGB")
    # A colour outside sRGB: its luminance by the primaries alone, no clip.
    Image.fromarray(np.full((2, 2, 3), (0, 255, 0), dtype=np.uint8)).save(HERE / "wide-green.png", icc_profile=WIDE_ICC)
    srgb_d50, srgb_d65 = to_d50([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)], (0.3127, 0.3290))
    y = np.array([0.2126, 0.7152, 0.0722]) @ np.linalg.solve(srgb_d50, WIDE[:, 1])
    record("wide-green.png", np.full((2, 2), y), 0.0005, profile="Wide test RGB")
    # Grey: the curve is a plain power, light = code^1.8, in closed form.
    ramp = np.linspace(0, 255, 18).round().astype(np.uint8)[None, :]
    Image.fromarray(ramp).save(HERE / "grey-power.png", icc_profile=GREY_ICC)
    record("grey-power.png", (ramp / 255.0) ** (round(1.8 * 256) / 256), 0.0005, profile="Grey test 1.8")
    Image.fromarray(ramp).save(HERE / "broken-profile.png", icc_profile=b"not a profile" * 20)
    record("broken-profile.png", linear(ramp / 255.0))
    # A colour profile on a grey picture.
    Image.fromarray(ramp).save(HERE / "grey-wide.tif", icc_profile=WIDE_ICC)
    record("grey-wide.tif", (ramp / 255.0) ** (round(2.2 * 256) / 256), 0.0005, profile="Wide test RGB")

    inks = np.array([[(0, 0, 0, 0), (255, 0, 0, 0), (0, 255, 0, 0), (0, 0, 255, 0)],
                     [(0, 0, 0, 255), (60, 40, 40, 10), (120, 100, 100, 40), (200, 180, 180, 120)],
                     [(0, 0, 0, 64), (0, 0, 0, 128), (0, 0, 0, 192), (255, 255, 255, 255)]], dtype=np.uint8)
    big = np.kron(inks, np.ones((16, 16, 1), dtype=np.uint8))
    im = Image.frombytes("CMYK", (big.shape[1], big.shape[0]), big.tobytes())
    im.save(HERE / "inks.jpg", icc_profile=INK_ICC, quality=95, subsampling=0)
    back = Image.open(HERE / "inks.jpg")
    record("inks.jpg", through_littlecms(back, INK_ICC), 0.004, profile="Ink test CMYK")
    im.save(HERE / "inks.tif", icc_profile=INK_ICC, compression="tiff_lzw")
    record("inks.tif", through_littlecms(im, INK_ICC), 0.004, profile="Ink test CMYK")
    im.save(HERE / "inks-unknown.jpg", quality=95)
    im.save(HERE / "inks-unknown.tif", compression="tiff_lzw")
    Image.fromarray(base(32, 16)).save(HERE / "inks-wrong-profile.jpg", quality=95)
    im.save(HERE / "inks-wrong-profile.jpg", icc_profile=WIDE_ICC, quality=95)
    # YCCK: Pillow cannot write it. Its samples are YCbCr (JFIF 1.02) of what an Adobe file stores upside
    # down, with K untouched; so those four go in as "inks" and the Adobe transform number becomes 2.
    c, m, y_, k = (big[..., i].astype(float) for i in range(4))
    lum = 0.299 * c + 0.587 * m + 0.114 * y_
    cb, cr = 128 + (y_ - lum) / 1.772, 128 + (c - lum) / 1.402
    # Pillow stores 255 minus what it is given, so give it 255 minus the sample wanted.
    fields = np.stack([255 - lum, 255 - cb, 255 - cr, k], axis=-1).round().clip(0, 255).astype(np.uint8)
    buffer = io.BytesIO()
    Image.frombytes("CMYK", im.size, fields.tobytes()).save(buffer, "JPEG", icc_profile=INK_ICC, quality=97, subsampling=0)
    raw = bytearray(buffer.getvalue())
    at = raw.index(b"Adobe")
    raw[at + 11] = 2
    (HERE / "ycck.jpg").write_bytes(raw)
    record("ycck.jpg", through_littlecms(Image.open(HERE / "ycck.jpg"), INK_ICC), 0.004, profile="Ink test CMYK")


def containers():
    rgb = base()
    im = Image.fromarray(rgb)
    wide = Image.fromarray(base(32, 16))
    wide.save(HERE / "plain.jpg", quality=95, subsampling=0, dpi=(300, 150))
    record("plain.jpg", decoded(Image.open(HERE / "plain.jpg")), 0.005, ppi=[300, 150])
    wide.save(HERE / "progressive.jpg", quality=90, progressive=True)
    record("progressive.jpg", decoded(Image.open(HERE / "progressive.jpg")), 0.02)
    noise = np.random.default_rng(2).integers(0, 256, (40, 56, 3)).astype(np.uint8)
    Image.fromarray(noise).save(HERE / "progressive-noise.jpg", quality=80, progressive=True, subsampling=0)
    wide.convert("L").save(HERE / "grey.jpg", quality=95)
    record("grey.jpg", decoded(Image.open(HERE / "grey.jpg")), 0.005)
    im.save(HERE / "plain.png", dpi=(300, 150))
    record("plain.png", decoded(im), ppi=[299.9994, 150.0124])
    im.save(HERE / "plain.bmp", dpi=(300, 150))
    record("plain.bmp", decoded(im), ppi=[299.9994, 150.0124])
    im.save(HERE / "plain.tif", dpi=(300, 150), compression="tiff_lzw")
    record("plain.tif", decoded(im), ppi=[300, 150])
    tifffile.imwrite(HERE / "centimetre.tif", rgb, resolution=(100, 100), resolutionunit="CENTIMETER", byteorder=">")
    record("centimetre.tif", decoded(im), ppi=[254, 254])
    im.save(HERE / "plain.webp", lossless=True)
    record("plain.webp", decoded(im))
    wide.save(HERE / "lossy.webp", quality=90)
    record("lossy.webp", decoded(Image.open(HERE / "lossy.webp")), 0.01)
    flat = im.quantize(32)
    flat.save(HERE / "plain.gif")
    record("plain.gif", decoded(Image.open(HERE / "plain.gif")))
    flat.save(HERE / "palette.png")
    record("palette.png", decoded(flat))
    flat.save(HERE / "palette.bmp")
    # Pillow writes 96 ppi into a BMP unasked, as 3780 pixels per metre: stated is stated.
    record("palette.bmp", decoded(flat), ppi=[96.012, 96.012])
    flat.save(HERE / "palette.tif")
    bilevel = Image.fromarray((np.indices((9, 13)).sum(axis=0) % 3 == 0).astype(np.uint8) * 255).convert("1")
    for name, extra in (("bilevel.png", {}), ("bilevel.bmp", {}), ("fax.tif", {"compression": "group4", "dpi": (600, 600)}),
                        ("bilevel.tif", {})):
        bilevel.save(HERE / name, **extra)
        ppi = {"fax.tif": [600, 600], "bilevel.bmp": [96.012, 96.012]}.get(name)
        record(name, decoded(bilevel), ppi=ppi)
    tifffile.imwrite(HERE / "white-is-zero.tif", 255 - rgb[..., 1], photometric="miniswhite")
    record("white-is-zero.tif", linear(rgb[..., 1] / 255.0))
    # Coverage.
    rgba = np.dstack([rgb, np.linspace(0, 255, rgb[..., 0].size).round().reshape(rgb.shape[:2]).astype(np.uint8)])
    over = decoded(Image.fromarray(rgba))
    Image.fromarray(rgba).save(HERE / "alpha.png")
    record("alpha.png", over)
    Image.fromarray(rgba).save(HERE / "alpha.webp", lossless=True, exact=True)
    record("alpha.webp", over)
    tifffile.imwrite(HERE / "alpha.tif", rgba, photometric="rgb", extrasamples=["unassalpha"])
    record("alpha.tif", over)
    tifffile.imwrite(HERE / "fourth.tif", rgba, photometric="rgb", extrasamples=["unspecified"])
    record("fourth.tif", decoded(im))
    tifffile.imwrite(HERE / "grey-alpha.tif", rgba[..., 2:], photometric="minisblack", planarconfig="contig", extrasamples=["unassalpha"])
    a = rgba[..., 3] / 255.0
    record("grey-alpha.tif", a * linear(rgba[..., 2] / 255.0) + 1 - a)
    deep = rgba.astype(np.uint32) * 257
    pre = (deep[..., :3] * a[..., None]).round()
    tifffile.imwrite(HERE / "premultiplied.tif", np.dstack([pre, deep[..., 3]]).astype(np.uint16), photometric="rgb", extrasamples=["assocalpha"])
    record("premultiplied.tif", over, 0.001, bits=16)
    trans = flat.copy()
    trans.info["transparency"] = 3
    trans.save(HERE / "alpha.gif", transparency=3)
    record("alpha.gif", decoded(Image.open(HERE / "alpha.gif")))
    im.quantize(8).save(HERE / "moving.gif", save_all=True, append_images=[Image.new("RGB", im.size, (0, 0, 0)).quantize(8)])
    record("moving.gif", decoded(Image.open(HERE / "moving.gif")))
    # 16 bit and float.
    deep = (np.arange(96, dtype=np.uint32).reshape(8, 12) * 689 + 7).astype(np.uint16)
    cv2.imwrite(str(HERE / "deep.png"), deep)
    record("deep.png", linear(deep / 65535.0), bits=16)
    colour = np.dstack([deep, deep[::-1], deep[:, ::-1]])
    cv2.imwrite(str(HERE / "deep-colour.png"), colour[..., ::-1])
    record("deep-colour.png", luminance(colour / 65535.0), bits=16)
    tifffile.imwrite(HERE / "deep.tif", deep, photometric="minisblack", compression="zlib", predictor=True, byteorder=">")
    record("deep.tif", linear(deep / 65535.0), bits=16)
    tifffile.imwrite(HERE / "planar.tif", np.moveaxis(colour, -1, 0), photometric="rgb", planarconfig="separate")
    record("planar.tif", luminance(colour / 65535.0), bits=16)
    tifffile.imwrite(HERE / "tiled.tif", np.kron(rgb, np.ones((4, 4, 1), dtype=np.uint8)), photometric="rgb", tile=(16, 16))
    record("tiled.tif", np.kron(decoded(im), np.ones((4, 4))))
    light = (deep / 65535.0).astype(np.float32)
    tifffile.imwrite(HERE / "float.tif", light, photometric="minisblack")
    record("float.tif", light, bits=32)
    light3 = (colour / 65535.0).astype(np.float32)
    tifffile.imwrite(HERE / "float-colour.tif", light3, photometric="rgb")
    record("float-colour.tif", light3 @ np.array([0.2126, 0.7152, 0.0722]), bits=32)
    info = PngImagePlugin.PngInfo()
    info.add(b"gAMA", struct.pack(">I", 100000))
    im.save(HERE / "linear.png", pnginfo=info)
    record("linear.png", (rgb / 255.0) @ np.array([0.2126, 0.7152, 0.0722]))
    Image.fromarray(np.full((1, 1), 128, dtype=np.uint8)).save(HERE / "one.png")
    record("one.png", linear(np.full((1, 1), 128 / 255.0)))
    # Kinds that are refused.
    tifffile.imwrite(HERE / "lab.tif", rgb.astype(np.uint8), photometric="icclab")


def turned():
    """Eight orientations of one JPEG; what Pillow's exif_transpose makes of each."""
    im = Image.fromarray(base(32, 16))
    for o in range(1, 9):
        exif = Image.Exif()
        exif[0x0112] = o
        exif[0x011A], exif[0x011B], exif[0x0128] = 300.0, 150.0, 2
        name = f"turned-{o}.jpg"
        im.save(HERE / name, quality=95, subsampling=0, exif=exif)
        upright = ImageOps.exif_transpose(Image.open(HERE / name))
        record(name, decoded(upright), 0.005, ppi=[150, 300] if o > 4 else [300, 150])
    small = Image.fromarray(base())
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x011A], exif[0x011B], exif[0x0128] = 300.0, 150.0, 2
    upright = decoded(small.transpose(Image.Transpose.ROTATE_270))
    for name, extra in (("turned.png", {}), ("turned.webp", {"lossless": True})):
        small.save(HERE / name, exif=exif, **extra)
        record(name, upright, ppi=[150, 300])
    small.save(HERE / "turned.tif", tiffinfo={274: 6}, dpi=(300, 150))
    record("turned.tif", upright, ppi=[150, 300])


def resampling():
    rng = np.random.default_rng(1)
    source = rng.random((17, 23)).astype(np.float32)
    figures = {"source": [round(float(v), 7) for v in source.ravel()], "width": 23, "height": 17, "area": []}
    for size in ((7, 5), (22, 16), (1, 1), (23, 6), (9, 17)):
        out = cv2.resize(source, size, interpolation=cv2.INTER_AREA)
        figures["area"].append({"width": size[0], "height": size[1], "values": [round(float(v), 6) for v in out.ravel()]})
    # Enlarging: Pillow's bicubic has a = -0.5, which is Catmull-Rom. A smooth field keeps the hold on the
    # four neighbours out of play; edges differ, so only the inside is compared.
    y, x = np.mgrid[0:17, 0:23]
    smooth = (0.2 + 0.02 * x + 0.01 * y + 0.0004 * x * x).astype(np.float32)
    out = np.asarray(Image.fromarray(smooth, mode="F").resize((61, 40), Image.Resampling.BICUBIC))
    figures["smooth"] = [round(float(v), 7) for v in smooth.ravel()]
    figures["cubic"] = {"width": 61, "height": 40, "values": [round(float(v), 6) for v in out.ravel()]}
    (HERE / "resample.json").write_text(json.dumps(figures) + "\n")


profiles()
containers()
turned()
resampling()
made_by = {"pillow": PIL.__version__, "littlecms": ImageCms.core.littlecms_version, "opencv": cv2.__version__,
           "numpy": np.__version__, "tifffile": tifffile.__version__}
lines = ",\n".join(f"  {json.dumps(k)}: {json.dumps(v)}" for k, v in sorted(expected.items()))
digests = {n: hashlib.sha256((HERE / n).read_bytes()).hexdigest() for n in ("fax.tif", "plain.bmp", "wide.jpg")}
(HERE / "expected.json").write_text('{\n "made_by": ' + json.dumps(made_by) + ',\n "sha256": ' + json.dumps(digests) + ',\n "pictures": {\n' + lines + "\n }\n}\n")
