"""The job file: schema, rules, mistakes in words, and the values that everything else uses."""
