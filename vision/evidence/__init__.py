"""What the lines in a photo are: candidates without judgement, strips, the learned witness, hypotheses, posterior."""
