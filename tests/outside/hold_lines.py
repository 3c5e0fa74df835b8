"""Fails unless every render given holds lines: neither blank nor black: `hold_lines.py A.png ...`."""

import sys

import numpy as np
from PIL import Image


def main() -> None:
    shares = []
    for path in sys.argv[1:]:
        picture = Image.open(path).convert("RGBA")
        ground = Image.new("RGBA", picture.size, "white")
        grey = np.asarray(Image.alpha_composite(ground, picture).convert("L"))
        shares.append(float((grey < 200).mean()))
        print(f"{path}: {grey.shape[1]} x {grey.shape[0]} px, {100 * shares[-1]:.2f} % dark")
        if not 0.001 < shares[-1] < 0.25:
            sys.exit(f"{path}: a page of pencil lines is 0.1 to 25 % dark")
    if len(shares) < 2:
        sys.exit("nothing to compare: give the renders of the PDF and of the SVG")
    # The same lines, drawn by two programs.
    if max(shares) > 1.6 * min(shares):
        sys.exit("the renders of SVG and PDF do not hold the same amount of line")


main()
