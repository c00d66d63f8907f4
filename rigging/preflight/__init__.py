"""What is missing or blurred, said before measuring."""
