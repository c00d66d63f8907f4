"""What shows gravity in a photo: plumb lines and level lines."""
