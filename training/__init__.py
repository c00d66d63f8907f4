"""Makes and judges the learned witness: scenes, labels, training, calibration, export. Nothing outside imports it."""
