"""From one photo to what is seen in it (cards, lines, marks, level reference), and the reading."""
