"""Contrast of two colours by W3C's Web Content Accessibility Guidelines 2.1 (definitions of relative
luminance and contrast ratio; success criterion 1.4.3 asks for 4.5 to 1)."""


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
