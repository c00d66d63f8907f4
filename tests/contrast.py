"""Contrast of two colours by W3C's Web Content Accessibility Guidelines 2.1 (definitions of relative
luminance and contrast ratio; success criterion 1.4.3 asks for 4.5 to 1); and how far apart two colours
are for colour-blind eyes."""

import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis. Comput. Graph. 15, 1291 (2009),
# severity 1.0, on linear RGB. From memory; what can be recomputed is: each row adds to 1 (white stays white).
BLIND = {
    "protanopia": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deuteranopia": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritanopia": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


def luminance(rgb: tuple[float, float, float]) -> float:
    """Relative luminance of sRGB values 0 to 255."""
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in rgb)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: tuple[float, float, float], b: tuple[float, float, float]) -> float:
    """Contrast ratio, 1 to 21."""
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def from_hex(text: str) -> tuple[float, float, float]:
    """#rrggbb."""
    return tuple(int(text[k : k + 2], 16) for k in (1, 3, 5))


def apart(a: tuple[float, float, float], b: tuple[float, float, float], blindness: str) -> float:
    """CIEDE2000 difference of two colours as seen with a colour blindness (1 is just noticeable)."""
    labs = []
    for colour in (a, b):
        v = np.array(colour) / 255
        linear = np.array(BLIND[blindness]) @ np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
        linear = np.clip(linear, 0, 1)
        srgb = np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)
        labs.append(rgb2lab(srgb.reshape(1, 1, 3)))
    return float(deltaE_ciede2000(*labs)[0, 0])
