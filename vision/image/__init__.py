"""The photo as pixels: loading, EXIF, the rectified image, ridges and sums along lines."""
