"""Fails unless two grey pictures are the same but for rounding: `same_picture.py A.png B.png`."""

import sys

import numpy as np
from PIL import Image


def main() -> None:
    one, other = (np.asarray(Image.open(p).convert("L"), float) for p in sys.argv[1:3])
    if one.shape != other.shape:
        sys.exit(f"{sys.argv[2]}: {other.shape} pixels, {one.shape} wanted")
    apart = np.abs(one - other)
    share = float((apart > 16).mean())
    print(f"{sys.argv[1]}: mean difference {apart.mean():.4f} of 255, {100 * share:.3f} % of the pixels over 16")
    # A stroke may fall a step differently when a sine rounds differently; a change of scene moves far more.
    if apart.mean() > 2.0 or share > 0.03:
        sys.exit(f"{sys.argv[2]} is not the checked-in picture: run the example again and look at it")


main()
