"""A folder of photos measured by worker processes; readings kept and written out."""
