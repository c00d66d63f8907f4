"""The page for a phone at the bench: a small web server on the shop's own computer, and a watched folder."""
